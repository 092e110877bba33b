"""Measuring a part that a person boxed on the page, and keeping what was measured with the finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PIL import Image

from visual_aid.measure.measurement import Measurement
from visual_aid.measure.scale import Scale
from visual_aid.measure.wear import KINDS, measure_wear
from visual_aid.model import Box, Outline, Wear
from visual_aid.outputs.measured import draw_part
from visual_aid.outputs.report_pictures import encode
from visual_aid.records.entries import StoredCandidate, StoredPhoto
from visual_aid.records.store import Store

PICTURE_BYTES = 60_000
"""Most that the picture of a measured part may weigh: it goes to a phone with every box that is dragged."""
MOST_OTHERS = 40
"""Other photos to choose from: more than a visit's photos of one part are no choice."""


def takes_two(wear: Wear) -> bool:
    """Tell whether a kind is measured on a second photo, or on a second box."""
    return KINDS[wear].photos[1] > 1


def takes_length(wear: Wear) -> bool:
    """Tell whether a known length gives a kind millimetres: of a plane's tilt it tells nothing."""
    return KINDS[wear].scale == "better" or takes_two(wear)


def others(store: Store, photo: StoredPhoto, wear: Wear) -> tuple[StoredPhoto, ...]:
    """Give the photos that a boxed part can be measured against.

    They are the others of its visit, or the last ones of the worklist where it belongs to none; for a height,
    those on which that height is marked already, this photo among them.
    """
    if photo.visit is not None:
        near: Sequence[StoredPhoto] = store.visits.photos(photo.visit.id)
    else:
        near = [entry.photo for entry in store.worklist(limit=MOST_OTHERS)]
    if KINDS[wear].boxes == 1:
        return tuple(other for other in near if other.id != photo.id)
    return tuple(other for other in near if marked(store, other.id, wear) is not None)


def marked(store: Store, photo: str, wear: Wear) -> StoredCandidate | None:
    """Give the last mark of a kind of wear on a photo."""
    found = [c for c in store.candidates(photo) if c.candidate.cue == wear and c.is_finding]
    return found[-1] if found else None


def measure_box(
    store: Store,
    photo: StoredPhoto,
    wear: Wear,
    box: Box,
    other: str | None,
    known: Mapping[str, Scale] | None = None,
) -> Measurement:
    """Measure a boxed part, where the kind takes it against another photo.

    Of a height the other photo comes first: what is boxed now is the right side, or the later height. Of a
    movement the photo at hand comes first, since the box is that in the first photo. Known lengths, by
    the photo's id, count where no card is seen.

    Raises
    ------
    ValueError
        The kind takes a second photo or box and there is none.
    PhotoError
        A photo file can no longer be read.
    """

    def scales(*photos: str) -> list[Scale | None]:
        return [(known or {}).get(id_) for id_ in photos]

    if not takes_two(wear):
        return measure_wear(wear, [store.read(photo)], [box], known=scales(photo.id))
    if other is None:
        raise ValueError(KINDS[wear].how)
    second = store.photo(other)
    if KINDS[wear].boxes == 1:
        photos = [store.read(photo), store.read(second)]
        return measure_wear(wear, photos, [box], known=scales(photo.id, other))
    mark = marked(store, other, wear)
    if mark is None:
        raise ValueError(KINDS[wear].how)
    both = [photo] if other == photo.id else [second, photo]
    return measure_wear(
        wear,
        [store.read(one) for one in both],
        [mark.candidate.box, box],
        known=scales(*(one.id for one in both)),
    )


def picture(store: Store, photo: StoredPhoto, measurement: Measurement, box: Box) -> bytes:
    """Give a JPEG of the boxed part from near, with what was measured drawn on it.

    Raises
    ------
    PhotoError
        The photo file can no longer be read.
    """
    # Of a movement the photo at hand is the first, of heights the last.
    number = 0 if KINDS[measurement.wear].boxes == 1 else len(measurement.photos) - 1
    part = draw_part(store.read(photo), measurement, number, box)
    return encode(Image.fromarray(part), PICTURE_BYTES)


def keep(
    store: Store,
    photo: str,
    measurement: Measurement,
    box: Box,
    *,
    by: str,
    outline: Outline = (),
    note: str = "",
) -> StoredCandidate:
    """Record a measurement as a finding of the person's own, with its reason and figures."""
    said = (
        measurement.reason
        if measurement.outcome != "cannot_measure"
        else f"not measured: {measurement.reason}"
    )
    if measurement.scale is not None:
        said = f"{said}; millimetres from {measurement.scale}"
    measures = {figure.name: figure.value for figure in measurement.figures}
    return store.mark(
        photo,
        measurement.wear,
        box,
        by=by,
        outline=outline,
        note=note,
        reason="; ".join(filter(None, [said, note])),
        measures=measures,
    )
