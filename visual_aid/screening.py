"""One photo in, one record out."""

from __future__ import annotations

import dataclasses
import os
import time
from collections.abc import Sequence
from pathlib import Path

from visual_aid import __version__
from visual_aid.decoder import read_photo
from visual_aid.evidence.look import describe
from visual_aid.evidence.register import MEASURE, Evidence, find_evidence
from visual_aid.evidence.scene import Scene
from visual_aid.fasteners.find import Overview, find_fasteners, look_over
from visual_aid.fasteners.groups import group_fasteners
from visual_aid.fasteners.lean import add_lean
from visual_aid.files import printable
from visual_aid.model import Fastener, NotJudged, PhotoInfo, Quality, Screening
from visual_aid.photo import Photo, PhotoError
from visual_aid.priority import priority
from visual_aid.quality import Whole, judge

RETAKE = "the photo has to be taken again first"


def screen_photo(
    photo: Photo, fasteners: Sequence[Fastener] | None = None, overview: Overview | None = None
) -> Screening:
    """Screen one photo for evidence of loosening.

    Parameters
    ----------
    photo : Photo
    fasteners : sequence of Fastener, optional
        Judge exactly these, as pointed out by a person, instead of those that are found.
    overview : Overview, optional
        Of this photo, where it has been looked over already.

    Returns
    -------
    Screening
        The same for the same pixels and fasteners, ``seconds`` apart. A photo that cannot be judged
        carries no candidates, and its quality says what to do.

    Raises
    ------
    PhotoError
        The file turns out to be damaged where the working scale did not show it.
    """
    start = time.perf_counter()
    whole = Whole(photo.working)
    quality = judge(photo, whole=whole)
    found = tuple(fasteners or ())
    evidence = Evidence((), tuple(NotJudged(cue, RETAKE) for cue in MEASURE), {})
    if quality.usable:
        # Needed with fasteners given too: what the finder doubts is asked for missing nuts.
        overview = overview or look_over(photo)
        if fasteners is None:
            found = find_fasteners(photo, overview=overview)
        else:
            found = group_fasteners(add_lean(photo, fasteners))
        quality = judge(photo, found, whole)
    if quality.usable:
        scene = Scene.build(photo, found, overview=overview)
        evidence = find_evidence(scene)
        found = tuple(
            dataclasses.replace(f, look=describe(frame)) for f, frame in zip(found, scene.frames, strict=True)
        )
    return Screening(
        engine=__version__,
        photo=photo.info,
        quality=quality,
        fasteners=found,
        candidates=evidence.candidates,
        not_judged=evidence.not_judged,
        priority=priority(evidence.best.values(), len(found)),
        seconds=time.perf_counter() - start,
    )


def screen_file(path: str | os.PathLike[str]) -> Screening:
    """Read and screen one photo file; a file that cannot be read gives a record with its ``error``."""
    start = time.perf_counter()
    try:
        record = screen_photo(read_photo(path))
    except PhotoError as refused:
        return Screening(
            engine=__version__,
            photo=PhotoInfo(printable(Path(path).name), printable(os.fspath(path)), "", 0, 0),
            quality=Quality(usable=False),
            seconds=time.perf_counter() - start,
            error=refused.trouble,
        )
    return dataclasses.replace(record, seconds=time.perf_counter() - start)
