"""The records that every part of visual-aid passes on: frozen, plain, JSON-ready.

Conventions that hold for every field:

- pixels are (x, y) of the upright full-size photo; the centre of the first pixel is (0, 0);
- ``radius`` of a fastener is half its width across flats as seen: of a circle whose hexagon has the
  area that is seen, so that tilt does not depend on direction;
- angles are degrees, clockwise positive as seen;
- a ``score`` is a probability between 0 and 1.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

SCHEMA = "visual-aid/screening/1"

Kind = Literal["hex_nut", "flange_nut", "bolt_head", "bare_stud", "empty_hole"]
Cue = Literal[
    "rust_trail", "dust_trail", "paint_break", "clean_outlier", "stripe_offset", "gap", "missing_nut"
]
Wear = Literal[
    "movement",
    "bushing_offset",
    "rubber_crack",
    "chafe",
    "fluid_run",
    "hole_elongation",
    "leaf_shift",
    "broken_leaf",
    "height_difference",
    "ride_height_hold",
    "rust_grade",
]
Change = Literal["turned"]
Sign = Cue | Wear | Change
"""What a mark can show: a cue of a loosening joint, a kind of wear, or a change between two visits."""
KINDS: tuple[Kind, ...] = get_args(Kind)
NOT_IN_PLACE: tuple[Kind, ...] = ("bare_stud", "empty_hole")
"""Kinds that show where a nut or bolt is missing; the others come first in ``KINDS``."""
IN_PLACE: tuple[Kind, ...] = tuple(kind for kind in KINDS if kind not in NOT_IN_PLACE)
CUES: tuple[Cue, ...] = get_args(Cue)
WEARS: tuple[Wear, ...] = get_args(Wear)
"""Kinds of wear that are measured on a part that a person boxed."""
CHANGES: tuple[Change, ...] = get_args(Change)
"""What only two photos of one joint show together."""
SIGNS: tuple[Sign, ...] = (*CUES, *WEARS, *CHANGES)

Box = tuple[float, float, float, float]
Outline = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class PhotoInfo:
    """What is known of a photo file apart from its pixels.

    ``width`` and ``height`` are those of the upright photo; ``taken`` is local camera time in ISO 8601.
    """

    name: str
    path: str
    sha256: str
    width: int
    height: int
    taken: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """One reason why a photo is hard to judge: figure, limit and what to do about it."""

    code: str
    value: float
    limit: float
    say: str


@dataclass(frozen=True, slots=True)
class Quality:
    """Whether a photo can be judged."""

    usable: bool
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Fastener:
    """A nut, bolt head, bare stud or empty hole in place.

    Attributes
    ----------
    id : int
        Counts from 1 within the photo.
    angle : float or None
        Direction of the hexagon's first corner in the part's plane, 0 <= angle < 60.
    tilt : float or None
        Angle between the line of sight and the fastener's axis, 0 (head on) to 90.
    tilt_axis : float or None
        Direction in the image of the long axis of the tilt ellipse, 0 <= tilt_axis < 180. The engine
        rectifies with it; it is no part of the JSON record.
    group : int or None
        Number of the row or ring of like fasteners that this one belongs to.
    seat : (float, float) or None
        Where the fastener's axis meets the surface it sits on. A nut stands well above its surface, so
        at a tilt its seat lies beside the centre of its top. Like ``tilt_axis`` it is for the engine only.
    look : bytes
        What it and its surroundings look like, for finding like ones (``evidence/look.py``); empty where
        nobody looked. No part of the JSON record either.
    """

    id: int
    kind: Kind
    cx: float
    cy: float
    radius: float
    angle: float | None = None
    tilt: float | None = None
    score: float = 1.0
    group: int | None = None
    tilt_axis: float | None = None
    seat: tuple[float, float] | None = None
    look: bytes = field(default=b"", repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A region that the engine flags as evidence to check by hand.

    ``measures`` are physical: names end in ``_r`` (nut radii), ``_deg``, ``_de`` (CIELAB colour
    difference) or ``_share`` (0..1).
    """

    id: int
    cue: Sign
    fastener: int | None
    box: Box
    outline: Outline
    score: float
    measures: Mapping[str, float] = field(default_factory=dict)
    reason: str = ""


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A cue on which the engine stayed silent, and why."""

    cue: Cue
    why: str


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why a photo could not be screened: a code for programs, a line for people that names the mend."""

    code: str
    say: str


@dataclass(frozen=True, slots=True)
class Screening:
    """The engine's record of one photo; see ``to_json`` for its stable outer form."""

    engine: str
    photo: PhotoInfo
    quality: Quality
    fasteners: tuple[Fastener, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    priority: float = 0.0
    seconds: float = 0.0
    error: Trouble | None = None

    def to_dict(self) -> dict[str, Any]:
        """Give the record as plain lists and dicts, rounded to what the measurement supports."""
        fasteners = [
            {
                "id": f.id,
                "kind": f.kind,
                "cx": round(f.cx, 1),
                "cy": round(f.cy, 1),
                "radius": round(f.radius, 1),
                "angle": None if f.angle is None else round(f.angle, 1),
                "tilt": None if f.tilt is None else round(f.tilt, 1),
                "score": round(f.score, 3),
                "group": f.group,
            }
            for f in self.fasteners
        ]
        candidates = [
            {
                "id": c.id,
                "cue": c.cue,
                "fastener": c.fastener,
                "box": [round(v, 1) for v in c.box],
                "outline": [[round(x, 1), round(y, 1)] for x, y in c.outline],
                "score": round(c.score, 4),
                "measures": {k: round(v, 3) for k, v in c.measures.items()},
                "reason": c.reason,
            }
            for c in self.candidates
        ]
        return {
            "schema": SCHEMA,
            "engine": self.engine,
            "photo": dataclasses.asdict(self.photo),
            "quality": dataclasses.asdict(self.quality),
            "fasteners": fasteners,
            "candidates": candidates,
            "not_judged": [dataclasses.asdict(n) for n in self.not_judged],
            "priority": round(self.priority, 4),
            "seconds": round(self.seconds, 3),
            "error": None if self.error is None else dataclasses.asdict(self.error),
        }

    def to_json(self) -> str:
        """Give the record as one line of JSON (UTF-8, no line break inside)."""
        return json.dumps(self.to_dict(), ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Screening:
        """Read a record back.

        Raises
        ------
        ValueError
            The data is not a screening record of this schema.
        """
        if data.get("schema") != SCHEMA:
            raise ValueError(f"not a screening record of schema {SCHEMA}: {data.get('schema')!r}")
        try:
            quality = data["quality"]
            return cls(
                engine=data["engine"],
                photo=PhotoInfo(**data["photo"]),
                quality=Quality(quality["usable"], tuple(Problem(**p) for p in quality["problems"])),
                fasteners=tuple(Fastener(**f) for f in data["fasteners"]),
                candidates=tuple(
                    Candidate(
                        id=c["id"],
                        cue=c["cue"],
                        fastener=c["fastener"],
                        box=(c["box"][0], c["box"][1], c["box"][2], c["box"][3]),
                        outline=tuple((p[0], p[1]) for p in c["outline"]),
                        score=c["score"],
                        measures=dict(c["measures"]),
                        reason=c["reason"],
                    )
                    for c in data["candidates"]
                ),
                not_judged=tuple(NotJudged(**n) for n in data["not_judged"]),
                priority=data["priority"],
                seconds=data["seconds"],
                error=None if data["error"] is None else Trouble(**data["error"]),
            )
        except (AttributeError, IndexError, KeyError, TypeError) as wrong:
            raise ValueError(f"a screening record that cannot be read: {wrong!r}") from wrong
