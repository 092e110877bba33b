"""Heights compared: left against right, or one before and after a rest.

The upper and lower edge of the box lie where the person puts them, on the same two points of both parts:
frame and axle, or an air spring's two plates. With the card in the plane of the part the heights are in
millimetres; two boxes in one photo from behind give their ratio without it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.scale import CLICK

DIFFERENCE = Limit(
    "difference_mm", 6.4, "left and right 1/4 in (6.4 mm) apart at most", "common practice, no source"
)
HOLD = Limit(
    "difference_mm",
    3.2,
    "height unchanged after 15 minutes, as far as a tape tells (1/8 in, 3.2 mm)",
    "common practice, no source",
)
ONE_PHOTO = 0.02
"""Share by which two equal heights in one photo may differ by perspective alone: a photo from behind is never
quite square. Common practice, no source."""


def measure(views: Sequence[View]) -> Found:
    """Compare two boxed heights, left and right.

    Raises
    ------
    CannotMeasure
        The heights are in two photos and one of them has no scale, or a box goes beyond its photo.
    """
    return _compared(views, DIFFERENCE, ("left", "right"))


def measure_hold(views: Sequence[View]) -> Found:
    """Compare one height with itself after a rest.

    Raises
    ------
    CannotMeasure
        As ``measure``.
    """
    return _compared(views, HOLD, ("before", "after"))


def _compared(views: Sequence[View], limit: Limit, names: tuple[str, str]) -> Found:
    for view in views:
        _, y, _, h = view.box
        if y < -1 or y + h > view.photo.info.height + 1:
            raise CannotMeasure(
                "the box goes beyond the photo: both points of the height have to be in the picture"
            )
    same = views[0].photo is views[1].photo
    marks = tuple(
        _mark(view, name, 0 if same else i) for i, (view, name) in enumerate(zip(views, names, strict=True))
    )
    if any(view.scale is None for view in views):
        if not same:
            why = next(view.why_no_scale for view in views if view.scale is None)
            raise CannotMeasure(f"two photos have no common measure without a scale in both: {why}")
        return _ratio(views, names, marks)
    (first, first_error), (second, second_error) = (_height(view) for view in views)
    difference = abs(second - first)
    error = math.hypot(first_error, second_error)
    percent = 100 * (second / first - 1)
    reason = (
        f"{names[0]} {first:.1f} mm, {names[1]} {second:.1f} mm: {difference:.1f} mm apart "
        f"({percent:+.1f} %), give or take {error:.1f} mm"
    )
    return Found(
        reason,
        (
            Figure("difference_mm", difference, error),
            Figure("difference_percent", percent, 100 * error / first),
            Figure(f"{names[0]}_mm", first, first_error),
            Figure(f"{names[1]}_mm", second, second_error),
        ),
        marks,
        limit,
    )


def _ratio(views: Sequence[View], names: tuple[str, str], marks: tuple[Mark, ...]) -> Found:
    first, second = (view.box[3] for view in views)
    percent = 100 * (second / first - 1)
    error = 100 * math.hypot(ONE_PHOTO, math.sqrt(2) * CLICK * math.hypot(1 / first, 1 / second))
    how = "higher" if percent > 0 else "lower"
    beside = f"{abs(percent):.1f} % {how} than" if abs(percent) >= 0.05 else "as high as"
    return Found(
        f"{names[1]} is {beside} {names[0]}, give or take {error:.1f} %; without a scale the millimetres are "
        f"not known ({views[0].why_no_scale})",
        (Figure("difference_percent", percent, error),),
        marks,
    )


def _height(view: View) -> tuple[float, float]:
    assert view.scale is not None
    x, y, w, h = view.box
    return view.scale.length((x + w / 2, y), (x + w / 2, y + h))


def _mark(view: View, name: str, number: int) -> Mark:
    x, y, w, h = view.box
    return Mark(name, ((x + w / 2, y), (x + w / 2, y + h)), closed=False, photo=number)
