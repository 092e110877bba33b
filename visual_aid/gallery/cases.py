"""What people settled on a photo as labels, by which the engine is judged and trained."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot
from typing import Any

from visual_aid.gallery.alike import FARTHEST
from visual_aid.model import CUES, Box, Fastener, Screening
from visual_aid.records.teaching import Item, Region


def labels(one: Item, screening: Screening, image: str) -> dict[str, Any]:
    """Give what people settled on a photo in the form in which labelled photos are kept.

    Fasteners are those of the photo's record. Those without evidence are marked to be ignored, since nobody
    has checked that they are what the engine took them for, nor that there are no others: such a case tells
    of evidence and look-alikes, not of how well nuts are found. Evidence where no fastener is known gets
    one of kind ``other`` at its box. Kinds of wear, which are no cues, are left out, and what nobody settled
    is ignored.

    Parameters
    ----------
    image : str
        File name of the photo beside the labels.
    """
    evidence: dict[int, list[Region]] = {}
    fasteners = list(screening.fasteners)
    for region in (r for r in one.evidence if r.cue in CUES):
        owner = _owner(region, fasteners)
        if owner is None:
            owner = _stand_in(region, fasteners)
            fasteners.append(owner)
        evidence.setdefault(owner.id, []).append(region)
    known = {f.id for f in screening.fasteners}
    return {
        "image": image,
        "width": one.width,
        "height": one.height,
        "fasteners": [
            {
                "id": f.id,
                "kind": f.kind if f.id in known else "other",
                "cx": round(f.cx, 1),
                "cy": round(f.cy, 1),
                "r": round(f.radius, 1),
                "ignore": f.id not in evidence,
                "cues": [_cue(region) for region in evidence.get(f.id, ())],
            }
            for f in fasteners
        ],
        "decoys": [{"type": r.cue, "bbox": _rounded(r.box)} for r in one.look_alikes],
        "ignore_regions": [_rounded(box) for box in one.unsettled],
    }


def _owner(region: Region, fasteners: Sequence[Fastener]) -> Fastener | None:
    """Give the fastener that evidence is on: the one it names if that lies near, else the nearest."""
    near = sorted((_away(f, region.box), f.id != region.fastener, f.id) for f in fasteners)
    near = [n for n in near if n[0] <= FARTHEST]
    named = [n for n in near if not n[1]]
    number = next(iter([*named, *near]), (0, True, None))[2]
    return next((f for f in fasteners if f.id == number), None)


def _away(fastener: Fastener, box: Box) -> float:
    x, y, w, h = box
    across = max(x - fastener.cx, 0, fastener.cx - x - w)
    down = max(y - fastener.cy, 0, fastener.cy - y - h)
    return hypot(across, down) / fastener.radius


def _stand_in(region: Region, fasteners: Sequence[Fastener]) -> Fastener:
    x, y, w, h = region.box
    number = max((f.id for f in fasteners), default=0) + 1
    return Fastener(number, "hex_nut", x + w / 2, y + h / 2, max(min(w, h) / 2, 1.0))


def _cue(region: Region) -> dict[str, Any]:
    outline = [[round(x, 1), round(y, 1)] for x, y in region.outline]
    return {"type": region.cue, "bbox": _rounded(region.box), "outline": outline, "grade": region.grade}


def _rounded(box: Box) -> list[float]:
    return [round(v, 1) for v in box]
