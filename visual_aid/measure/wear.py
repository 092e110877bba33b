"""The kinds of wear that can be measured: the one list that command line, page and evaluation read."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from visual_aid.measure import (
    broken_leaf,
    bushing_offset,
    chafe,
    fluid_run,
    height_difference,
    hole_elongation,
    leaf_shift,
    movement,
    rubber_crack,
    rust_grade,
)
from visual_aid.measure.measurement import CannotMeasure, Measure, Measurement, Outcome, View, judge
from visual_aid.measure.patch import inside
from visual_aid.measure.scale import Scale
from visual_aid.measure.scale_card import RULER, find_card
from visual_aid.model import WEARS, Box, Wear
from visual_aid.photo import Photo
from visual_aid.quality import smeared

NEEDS_SHARPNESS: frozenset[Outcome] = frozenset({"within_limit", "no_limit"})
"""Outcomes that rest on what was not seen, which a smeared photo hides; what it shows in spite stands."""

CHOCKED = "Wheels chocked, parking brake set, before anybody reaches in or goes under."
AIR = (
    "An air spring under pressure can burst or shift: exhaust the air before hands go near, and support "
    "the frame."
)
HOT = "A shock absorber that has just worked can burn: let it cool, or feel for its heat from a distance."
LOADED = "A loaded leaf spring stores force: keep hands off clips, eyes and hangers."
SUPPORTED = (
    "Support the axle before a bolt comes out; never feel for a hole with a finger while anything can move."
)
CLEAR = "Whoever pushes or pulls says so first; fingers stay out of eyes and brackets."


@dataclass(frozen=True, slots=True)
class WearKind:
    """One kind of wear.

    Attributes
    ----------
    label : str
        Its name for people.
    photos : (int, int)
        Least and most photos that it is measured on.
    boxes : int
        How many boxes it takes in all, where it has them in one photo; else one in each photo.
    how : str
        How to take the photo and what to box.
    measure : callable
        From views to what was found.
    hand_check : str
        Id of the hand check that settles it.
    scale : str
        ``needed``, ``better`` or ``no use``: what millimetres bring.
    """

    label: str
    photos: tuple[int, int]
    boxes: int
    how: str
    measure: Measure
    hand_check: str
    scale: str
    cautions: tuple[str, ...]


WEAR_KINDS: Mapping[Wear, WearKind] = MappingProxyType(
    {
        "movement": WearKind(
            "Movement of a part",
            (2, 2),
            1,
            "Two photos from one place, the part pushed and pulled, the card beside it in its plane. Box "
            "the part that moves, in the first photo.",
            movement.measure,
            "rod_movement",
            "needed",
            (CHOCKED, CLEAR),
        ),
        "bushing_offset": WearKind(
            "Bushing off centre",
            (1, 1),
            1,
            "Head on, the card beside it in its plane. Box the eye: from rim to rim of the rubber.",
            bushing_offset.measure,
            "bushing_condition",
            "better",
            (CHOCKED,),
        ),
        "rubber_crack": WearKind(
            "Cracked rubber",
            (1, 1),
            1,
            "From near, lit from the side. Box the rubber of the bushing or the air spring.",
            rubber_crack.measure,
            "bushing_condition",
            "better",
            (CHOCKED, AIR),
        ),
        "chafe": WearKind(
            "Chafed rubber",
            (1, 1),
            1,
            "Lit from the side. Box the chafed place with some sound rubber around it.",
            chafe.measure,
            "air_spring",
            "better",
            (CHOCKED, AIR),
        ),
        "fluid_run": WearKind(
            "Fluid run down a shock absorber",
            (1, 1),
            1,
            "The whole body upright in the photo. Box the body from the seal down, between its sides.",
            fluid_run.measure,
            "shock_leak",
            "no use",
            (CHOCKED, HOT),
        ),
        "hole_elongation": WearKind(
            "Bolt hole out of round",
            (1, 1),
            1,
            "Bolt out, rim clean, the small card flat beside the hole. Box the hole tightly.",
            hole_elongation.measure,
            "straddle_pin_holes",
            "needed",
            (CHOCKED, SUPPORTED),
        ),
        "leaf_shift": WearKind(
            "Leaf out of line",
            (1, 1),
            1,
            "Along the leaves, level in the photo. Box the pack with a little of what is behind on both "
            "sides.",
            leaf_shift.measure,
            "leaf_springs",
            "better",
            (CHOCKED, LOADED),
        ),
        "broken_leaf": WearKind(
            "Broken leaf",
            (1, 1),
            1,
            "The pack from its side, level in the photo, lit from the side. Box a stretch of the pack.",
            broken_leaf.measure,
            "leaf_springs",
            "better",
            (CHOCKED, LOADED),
        ),
        "height_difference": WearKind(
            "Left and right height",
            (1, 2),
            2,
            "Level ground, normal pressure. One photo of each side with the card in the plane of the "
            "part, or one from behind with two boxes. Each box from the upper to the lower point that is "
            "compared.",
            height_difference.measure,
            "equal_height",
            "needed",
            (CHOCKED, AIR),
        ),
        "ride_height_hold": WearKind(
            "Ride height held",
            (2, 2),
            2,
            "Two photos 15 minutes apart, the card in the plane of the part. Each box from the upper to "
            "the lower point of the height.",
            height_difference.measure_hold,
            "height_control_valve",
            "needed",
            (CHOCKED, AIR),
        ),
        "rust_grade": WearKind(
            "Rust grade of an area",
            (1, 1),
            1,
            "Head on, in even light. Box the area to be graded.",
            rust_grade.measure,
            "rusted_part",
            "no use",
            (CHOCKED,),
        ),
    }
)
assert tuple(WEAR_KINDS) == WEARS


def measure_wear(
    wear: Wear,
    photos: Sequence[Photo],
    boxes: Sequence[Box],
    *,
    known: Sequence[Scale | None] = (),
    ruler: float = RULER,
) -> Measurement:
    """Measure one kind of wear on boxed parts.

    Parameters
    ----------
    photos : sequence of Photo
        One or two, as the kind takes.
    boxes : sequence of Box
        One for each photo, or two for one photo, in full pixels; where the kind takes one box only, it is
        that in the first photo.
    known : sequence of Scale or None
        Scale of each photo, in their order, from a known length; the card goes first where it is seen.
    ruler : float
        What the card's ruler measures on the print, in millimetres.

    Returns
    -------
    Measurement
        With ``cannot_measure`` and the reason where the photos do not show what it takes.

    Raises
    ------
    ValueError
        The kind takes another number of photos or boxes, the two photos are one and the same, there are
        more known lengths than photos, a box is empty, or the ruler cannot be right.
    """
    kind = WEAR_KINDS[wear]
    _check(kind, photos, boxes)
    if len(known) > len(photos):
        raise ValueError("there are more known lengths than photos: give one for each, in their order")
    cards = [find_card(photo, ruler) for photo in photos]
    scales = [None if isinstance(card, str) else card.scale for card in cards]
    reasons = [card if isinstance(card, str) else "" for card in cards]
    for i, scale in enumerate(known):
        if scales[i] is None and scale is not None:
            scales[i], reasons[i] = scale, ""
    spread = [photos[min(i, len(photos) - 1)] for i in range(max(len(photos), len(boxes)))]
    views = [
        View(
            photo,
            boxes[min(i, len(boxes) - 1)],
            scales[min(i, len(scales) - 1)],
            reasons[min(i, len(reasons) - 1)],
        )
        for i, photo in enumerate(spread)
    ]
    names = tuple(photo.info.name for photo in photos)
    # Of a movement the first photo gives the millimetres; each height has its own.
    sources = dict.fromkeys(scale.source for scale in scales[: kind.boxes] if scale is not None)
    try:
        for view in views[: kind.boxes]:
            inside(view)
        found = kind.measure(views)
        outcome = judge(found)
        if outcome in NEEDS_SHARPNESS:
            _refuse_smeared(photos)
    except CannotMeasure as refused:
        return Measurement(
            wear,
            names,
            tuple(boxes),
            "cannot_measure",
            str(refused),
            hand_check=kind.hand_check,
            cautions=kind.cautions,
        )
    return Measurement(
        wear,
        names,
        tuple(boxes),
        outcome,
        found.reason,
        found.figures,
        found.limit,
        found.marks,
        found.score,
        " and ".join(sources) or None,
        kind.hand_check,
        kind.cautions,
    )


def _refuse_smeared(photos: Sequence[Photo]) -> None:
    for photo in photos:
        if (why := smeared(photo)) is not None:
            raise CannotMeasure(f"{photo.info.name} would not show what is fine: {why}")


def _check(kind: WearKind, photos: Sequence[Photo], boxes: Sequence[Box]) -> None:
    least, most = kind.photos
    if not least <= len(photos) <= most:
        count = f"{least}" if least == most else f"{least} or {most}"
        raise ValueError(
            f"{kind.label.lower()} is measured on {count} photo{'s' if most > 1 else ''}: {kind.how}"
        )
    if len({photo.info.sha256 for photo in photos}) < len(photos):
        raise ValueError(f"{photos[0].info.name} is given twice: one photo shows no change")
    if len(boxes) != kind.boxes:
        raise ValueError(
            f"{kind.label.lower()} takes {kind.boxes} box{'es' if kind.boxes > 1 else ''}, not "
            f"{len(boxes)}: {kind.how}"
        )
    for x, y, w, h in boxes:
        if not (w > 0 and h > 0 and math.isfinite(x + y + w + h)):
            raise ValueError(f"the box {x:g},{y:g},{w:g},{h:g} is empty: give x,y,width,height in pixels")
