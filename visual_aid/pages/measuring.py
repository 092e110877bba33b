"""Measuring a part that a person boxed on the page, and keeping what was measured with the finding."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from PIL import Image

from visual_aid.measure.measurement import Measurement, Outcome
from visual_aid.measure.scale import Scale
from visual_aid.measure.wear import WEAR_KINDS, measure_wear
from visual_aid.model import Box, Outline, Wear
from visual_aid.outputs.measured import draw_part
from visual_aid.outputs.report_pictures import encode
from visual_aid.records.entries import StoredCandidate, StoredPhoto
from visual_aid.records.store import Store

PICTURE_BYTES = 60_000
"""Most that the picture of a measured part may weigh: it goes to a phone with every box that is dragged."""
MOST_OTHERS = 40
"""Other photos to choose from: more than a visit's photos of one part are no choice."""
Held = tuple[str, Box]
"""A boxed height that waits for the other one: the photo's id, and the box."""
LAID_BESIDE: Mapping[Outcome, str] = {
    "beyond_limit": "beyond",
    "within_limit": "as far as the photo shows within",
    "unclear": "too near to tell from",
}
"""How a figure lies to its limit, as a kept finding says it."""


def takes_two(wear: Wear) -> bool:
    """Tell whether a kind is measured on a second photo, or on a second box."""
    return WEAR_KINDS[wear].photos[1] > 1


def takes_length(wear: Wear) -> bool:
    """Tell whether a known length gives a kind millimetres: of a plane's tilt it tells nothing."""
    return WEAR_KINDS[wear].scale == "better" or takes_two(wear)


def near(store: Store, photo: StoredPhoto) -> tuple[StoredPhoto, ...]:
    """Give the others of a photo's visit, from the one taken next on.

    Where it belongs to no visit, they are the last ones of the worklist.
    """
    if photo.visit is not None:
        around: Sequence[StoredPhoto] = store.visits.photos(photo.visit.id)
    else:
        found = [entry.photo for entry in store.worklist(limit=MOST_OTHERS)]
        around = sorted(found, key=lambda one: (one.screening.photo.taken or "", one.name))
    at = next((i for i, one in enumerate(around) if one.id == photo.id), -1)
    return tuple(one for one in (*around[at + 1 :], *around[: at + 1]) if one.id != photo.id)


def others(store: Store, photo: StoredPhoto, wear: Wear, held: Held | None = None) -> tuple[StoredPhoto, ...]:
    """Give the photos that a boxed part can be measured against, the likeliest first.

    For a height they are those on which it is held or marked already, this photo among them where one photo
    will do.

    Parameters
    ----------
    held : (str, Box), optional
        A box of the same height that is held for comparison, and the id of its photo.
    """
    if WEAR_KINDS[wear].boxes == 1:
        return near(store, photo)
    here = (photo,) if WEAR_KINDS[wear].photos[0] == 1 else ()
    there = [one for one in (*near(store, photo), *here) if marked(store, one.id, wear)]
    if held is not None and (here or held[0] != photo.id):
        there = [store.photo(held[0]), *(one for one in there if one.id != held[0])]
    return tuple(there)


def marked(store: Store, photo: str, wear: Wear) -> StoredCandidate | None:
    """Give the last mark of a kind of wear on a photo."""
    found = [c for c in store.candidates(photo) if c.candidate.cue == wear and c.is_finding]
    return found[-1] if found else None


@dataclass(frozen=True, slots=True)
class Parts:
    """What is measured, in the order in which its kind takes it.

    Attributes
    ----------
    photos, boxes : tuple
        One or two each.
    at_hand : int
        Which of the photos a person is looking at.
    """

    wear: Wear
    photos: tuple[StoredPhoto, ...]
    boxes: tuple[Box, ...]
    at_hand: int = 0


def parts(
    store: Store,
    photo: StoredPhoto,
    wear: Wear,
    box: Box,
    other: str | None,
    held: Held | None = None,
) -> Parts:
    """Say what is measured: the boxed part, where the kind takes it against another photo.

    Of a movement the photo at hand comes first, since the box is that in the first photo. Of heights the
    left one does, or the earlier one; where neither the photos' places nor their times tell, what was
    boxed first.

    Raises
    ------
    ValueError
        The kind takes a second photo or box and there is none.
    """
    if not takes_two(wear):
        return Parts(wear, (photo,), (box,))
    if other is None:
        raise ValueError(WEAR_KINDS[wear].how)
    second = store.photo(other)
    if WEAR_KINDS[wear].boxes == 1:
        return Parts(wear, (photo, second), (box,))
    mark = marked(store, other, wear)
    if held is not None and held[0] == other:
        there = held[1]
    elif mark is not None:
        there = mark.candidate.box
    else:
        raise ValueError(WEAR_KINDS[wear].how)
    if other == photo.id:
        left, right = sorted((there, box))  # from behind, the left of the photo is the left of the unit
        return Parts(wear, (photo,), (left, right))
    if _comes_first(wear, photo, second):
        return Parts(wear, (photo, second), (box, there))
    return Parts(wear, (second, photo), (there, box), at_hand=1)


def _comes_first(wear: Wear, photo: StoredPhoto, second: StoredPhoto) -> bool:
    if wear == "height_difference":
        sides = [one.position and one.position.side for one in (photo, second)]
        return sides == ["left", "right"]
    taken, then = (one.screening.photo.taken for one in (photo, second))
    return taken is not None and then is not None and taken < then


def measure_parts(store: Store, asked: Parts, known: Mapping[str, Scale] | None = None) -> Measurement:
    """Measure boxed parts; known lengths, by the photo's id, count where no card is seen.

    Raises
    ------
    ValueError
        The boxes make no sense.
    PhotoError
        A photo file can no longer be read.
    """
    return measure_wear(
        asked.wear,
        [store.read(photo) for photo in asked.photos],
        asked.boxes,
        known=[(known or {}).get(photo.id) for photo in asked.photos],
    )


def picture(store: Store, asked: Parts, measurement: Measurement, box: Box) -> bytes:
    """Give a JPEG of the boxed part from near, with what was measured drawn on it.

    Raises
    ------
    PhotoError
        The photo file can no longer be read.
    """
    photo = store.read(asked.photos[asked.at_hand])
    part = draw_part(photo, measurement, asked.at_hand, box)
    return encode(Image.fromarray(part), PICTURE_BYTES)


def which_is_which(measurement: Measurement) -> str:
    """Say which photo shows which of two heights; empty where there is nothing to confuse."""
    if WEAR_KINDS[measurement.wear].boxes == 1 or len(measurement.photos) == 1:
        return ""
    return ", ".join(f"{mark.label}: {measurement.photos[mark.photo]}" for mark in measurement.marks)


def keep(
    store: Store,
    asked: Parts,
    measurement: Measurement,
    box: Box,
    *,
    by: str,
    outline: Outline = (),
    note: str = "",
) -> StoredCandidate:
    """Record a measurement as a finding on the photo at hand, with its reason, limit and figures."""
    photo = asked.photos[asked.at_hand]
    return store.mark(
        photo.id,
        measurement.wear,
        box,
        by=by,
        outline=outline,
        note=note,
        reason="; ".join(filter(None, [*_said(asked, measurement), note])),
        measures={figure.name: figure.value for figure in measurement.figures},
    )


def _said(asked: Parts, measurement: Measurement) -> Iterator[str]:
    """Say in parts of a sentence what is kept: a finding has to be understood without the page."""
    measured = measurement.outcome != "cannot_measure"
    yield measurement.reason if measured else f"not measured: {measurement.reason}"
    if measurement.limit is not None and measurement.outcome in LAID_BESIDE:
        limit = measurement.limit
        yield f"{LAID_BESIDE[measurement.outcome]} the limit: {limit.say} ({limit.source})"
    which = which_is_which(measurement)
    if which or len(asked.photos) == 1:
        yield which
    else:
        yield f"measured against {asked.photos[1 - asked.at_hand].name}"
    if measurement.scale is not None:
        yield f"millimetres from {measurement.scale}"
