"""A lesson: examples in an order with words, as it leaves the tool."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from PIL import Image

from visual_aid.model import Box, Outline
from visual_aid.outputs.palette import FASTENER_COLOUR, SIGN_STYLE
from visual_aid.outputs.publish import Pixels
from visual_aid.outputs.report_pictures import WIDE, close_up, encode, shrunk, wide_shot
from visual_aid.outputs.tables import harmless
from visual_aid.outputs.wording import CAUTION
from visual_aid.photo import PhotoError
from visual_aid.records.teaching import Example, Lesson

PICTURE_BYTES = 180_000
MOST_BYTES = 12_000_000
"""All pictures of a lesson together: as one HTML file of 16 MB it still goes through a phone's mail."""
COLUMNS = ("step", "title", "cue", "role", "grade", "words", "caption", "hand_check", "tags", "close", "wide")
ROLE_WORDS = {
    "evidence": "evidence",
    "look_alike": "look-alike",
    "clean": "nothing wrong",
    "unsettled": "open",
}


@dataclass(frozen=True, slots=True)
class Shown:
    """What is outlined of an example, in its cue's colour where it is evidence, in white otherwise."""

    box: Box
    outline: Outline
    colour: str


@dataclass(frozen=True, slots=True)
class LessonPage:
    """One example as a lesson shows it.

    Attributes
    ----------
    words : str
        What the trainer says here.
    close, wide : bytes
        JPEG files without metadata; ``close`` is empty for a clean photo, both are empty where the photo
        could not be read, and ``trouble`` says why.
    """

    example: Example
    words: str
    close: bytes
    wide: bytes
    trouble: str = ""

    @property
    def pictures(self) -> tuple[bytes, ...]:
        """The pictures that there are, the closest first."""
        return tuple(data for data in (self.close, self.wide) if data)

    @property
    def title(self) -> str:
        """What is to be seen."""
        return title(self.example)


@dataclass(frozen=True, slots=True)
class LessonSheet:
    """A lesson ready to be written."""

    title: str
    opening: str
    by: str
    pages: tuple[LessonPage, ...]
    caution: str = CAUTION


def title(example: Example) -> str:
    """Say in a few words what an example shows."""
    if example.cue is None:
        return "Nothing wrong here"
    label = SIGN_STYLE[example.cue].label
    if example.role == "look_alike":
        return f"Looks like it, and is not: {label[:1].lower()}{label[1:]}"
    return label if example.role == "evidence" else f"Not settled: {label[:1].lower()}{label[1:]}"


def outlined(example: Example) -> Shown | None:
    """Give what to outline of an example; None of a clean photo."""
    body = example.candidate
    if body is None:
        return None
    colour = SIGN_STYLE[body.cue].colour if example.role == "evidence" else FASTENER_COLOUR
    return Shown(body.box, body.outline, colour)


def draw_lesson(
    lesson: Lesson, examples: Mapping[int, Example], pixels: Callable[[str], Pixels]
) -> LessonSheet:
    """Make the pictures of a lesson.

    Parameters
    ----------
    examples : mapping of int to Example
        By id; a step whose example is not among them is left out.
    pixels : callable
        Gives the publishable pixels of a photo by its id.
    """
    steps = [step for step in lesson.steps if step.example in examples]
    most = min(PICTURE_BYTES, MOST_BYTES // (2 * max(1, len(steps))))
    pages = []
    for number, step in enumerate(steps, 1):
        example = examples[step.example]
        try:
            close, wide = draw_example(example, number, pixels(example.photo), most)
            pages.append(LessonPage(example, step.words, close, wide))
        except (KeyError, OSError, PhotoError) as error:
            pages.append(LessonPage(example, step.words, b"", b"", f"The photo cannot be shown: {error}"))
    return LessonSheet(lesson.title, lesson.opening, lesson.by, tuple(pages))


def draw_example(example: Example, number: int, pixels: Pixels, most: int) -> tuple[bytes, bytes]:
    """Give the close crop, empty for a clean photo, and the wide context as JPEG files."""
    small = shrunk(Image.fromarray(pixels), WIDE)
    shown = outlined(example)
    if shown is None:
        return b"", encode(small, most)
    wide = wide_shot(small, small.width / pixels.shape[1], shown, number)
    return encode(close_up(pixels, shown), most), encode(wide, most)


def lesson_zip(sheet: LessonSheet) -> bytes:
    """Write a lesson as a folder of pictures with a CSV (RFC 4180), in one ZIP file.

    The same lesson gives the same bytes.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    files: dict[str, bytes] = {}
    for number, page in enumerate(sheet.pages, 1):
        names = []
        for kind, data in (("close", page.close), ("wide", page.wide)):
            names.append(f"{number:03}-{kind}.jpg" if data else "")
            if data:
                files[names[-1]] = data
        e = page.example
        row = [
            number,
            page.title,
            e.cue or "",
            ROLE_WORDS[e.role],
            e.wording.grade if e.cue else "",
            page.words,
        ]
        row += [e.wording.caption, e.wording.hand_check, "; ".join(e.wording.tags), *names]
        writer.writerow(harmless(row))
    files["lesson.csv"] = ("\ufeff" + text.getvalue()).encode()
    files["README.txt"] = f"{sheet.title}\n\n{sheet.opening}\n\n{sheet.caution}\n".encode()
    return zipped(files)


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Give files by name as one ZIP file, the same for the same files."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, (2000, 1, 1, 0, 0, 0)), content)
    return data.getvalue()
