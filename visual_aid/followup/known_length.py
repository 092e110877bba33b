"""A length that a person knows and points out on a photo, as they write it: a figure, or a nut's thread."""

from __future__ import annotations

from visual_aid.followup.units import Measured, read
from visual_aid.measure.scale import ACROSS_FLATS, CLICK, Point, Scale, scale_of_length


def known_length(a: Point, b: Point, meant: str, pointing: float = CLICK) -> Scale:
    """Take the scale from two ends in full pixels and what lies between them.

    Parameters
    ----------
    meant : str
        A length with or without its unit (millimetres where none is written), or a nut of ``ACROSS_FLATS``.
    pointing : float
        Full pixels by which either end may miss what is meant; two of three lie within.

    Raises
    ------
    ValueError
        The text is no length, or the ends are too near each other; one line with the mend.
    """
    meant = meant.strip()
    if meant in ACROSS_FLATS:
        nut = f"an {meant} nut" if meant.startswith("M") else f"a {meant}"
        source = f"the width across flats of {nut}"
        return scale_of_length(a, b, ACROSS_FLATS[meant], source, pointing)
    length: Measured = read(meant, "length", "mm")
    return scale_of_length(a, b, length.to("mm").value, f"a known length of {length}", pointing)
