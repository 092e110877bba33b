"""Photos on their way into the store: read, screened, kept."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from math import hypot
from pathlib import Path
from statistics import median

from visual_aid.decoder import read_photo, read_photo_bytes
from visual_aid.fasteners.pointed import others_like
from visual_aid.likeness import likeness
from visual_aid.model import Fastener
from visual_aid.outputs.wording import counted
from visual_aid.pages.words import sentence, visit_name
from visual_aid.photo import Photo, PhotoError
from visual_aid.records.entries import StoredPhoto, Visit
from visual_aid.records.store import Store
from visual_aid.screening import screen_photo

USUAL_RADIUS = 0.025
"""Radius of a fastener that a person tapped on a photo without any other, in widths of the photo."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one photo: kept, or why not, in one line; and whether to take it again."""

    name: str
    kept: bool
    say: str
    retake: bool = False


def take_upload(store: Store, data: bytes, name: str, visit: Visit | None = None) -> Taken:
    """Screen the bytes of a photo file and keep a copy of it in the store."""
    return _take(store, lambda: read_photo_bytes(data, name), name, data, visit)


def take_file(store: Store, path: Path, visit: Visit | None = None) -> Taken:
    """Screen a photo on this machine; the store refers to it where it lies."""
    return _take(store, lambda: read_photo(path), path.name, None, visit)


def _take(
    store: Store,
    read: Callable[[], Photo],
    name: str,
    data: bytes | None,
    visit: Visit | None,
) -> Taken:
    try:
        photo = read()
        if store.has(photo.info.sha256):
            return Taken(name, True, _known(store, photo.info.sha256, name, visit))
        screening = screen_photo(photo)
        if screening.error is not None:
            return Taken(name, False, screening.error.say)
        kept = store.add_photo(screening, data=data, visit=visit, likeness=likeness(photo))
        with suppress(OSError):  # the pages that show it make it then
            store.thumb(kept, photo.working)
    except PhotoError as error:
        return Taken(name, False, str(error))
    except OSError as error:
        return Taken(name, False, f"{name} could not be kept ({error.strerror}): check the disk.")
    except Exception as error:  # one photo that the engine fails on must not cost the others
        return Taken(name, False, f"{name} made the engine fail ({error!r}): report it with the photo.")
    return Taken(name, True, f"{name}: {_outcome(store, kept)}", retake=not screening.quality.usable)


def _known(store: Store, sha256: str, name: str, visit: Visit | None) -> str:
    """Say of a photo that is in the records where it belongs; one of no visit joins this one."""
    there = f"{name} is in the records already"
    if visit is None:
        return f"{there}."
    now = store.visits.take_in(visit.id, sha256).visit
    if now is None or now.id == visit.id:
        return f"{there}, at this visit."
    return f"{there}, under {visit_name(now)}, and stays there."


def _outcome(store: Store, photo: StoredPhoto) -> str:
    candidates, quality = store.candidates(photo.id), photo.screening.quality
    likely = sum(not c.is_weak for c in candidates)
    if likely:
        return f"{counted(likely, 'mark')} to decide on."
    if not quality.usable:
        return " ".join(["take again.", *(sentence(problem.say) for problem in quality.problems)])
    return "weak marks only." if candidates else "nothing flagged."


def point_out_fastener(
    store: Store, photo: StoredPhoto, cx: float, cy: float, radius: float | None
) -> StoredPhoto:
    """Screen a photo again with a fastener that the engine missed, or without one that is none.

    Parameters
    ----------
    cx, cy : float
        Centre in pixels of the full upright photo. A point on a known fastener takes that one away.
    radius : float or None
        Radius in those pixels; None takes the usual one of the photo.

    Raises
    ------
    FileNotFoundError, PhotoError
        The photo file is gone, changed or damaged.
    """
    known = photo.screening.fasteners
    kept = [f for f in known if hypot(f.cx - cx, f.cy - cy) > f.radius]
    if radius is not None or len(kept) == len(known):
        usual = median([f.radius for f in known] or [USUAL_RADIUS * photo.screening.photo.width])
        number = max((f.id for f in known), default=0) + 1
        kept = [*known, Fastener(number, "hex_nut", cx, cy, radius or usual)]
    return store.add_screening(photo.id, screen_photo(store.read(photo), fasteners=kept))


def add_others_like(store: Store, photo: StoredPhoto, pointed: Fastener) -> int:
    """Screen a photo again with the fasteners that are like one pointed out; give how many there are.

    Raises
    ------
    FileNotFoundError, PhotoError
        As ``point_out_fastener``.
    """
    known = photo.screening.fasteners
    pixels = store.read(photo)
    others = others_like(pixels, pointed, known)
    if others:
        store.add_screening(photo.id, screen_photo(pixels, fasteners=[*known, *others]))
    return len(others)
