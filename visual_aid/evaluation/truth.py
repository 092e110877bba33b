"""Labelled photos: what a person, or the generator of a picture, says is to be seen in it.

A labelled folder holds ``NAME.json`` beside each photo; see ``parse_truth`` for its fields.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from visual_aid.model import CUES, IN_PLACE, KINDS, Box, Cue, Outline

LEAST_VISIBLE = 0.5
"""Share of a fastener that must be in view for its label to count."""

LEAST_RADIUS = 10.0
"""Radius in pixels below which a label does not count."""

SMALL = 8.3
"""Radius in working pixels below which a fastener is too small to teach anything."""


@dataclass(frozen=True, slots=True)
class TruthCue:
    """One labelled piece of evidence on a fastener.

    Attributes
    ----------
    visible : bool
        False where the evidence is hidden, off the frame or too weak to be seen: it counts neither way.
    grade : str or None
        ``faint``, ``moderate`` or ``obvious``, where the labels say so.
    measures : mapping of str to float
        Every other figure of the label, by its name there: ``offset_deg``, ``gap_mm``, ...
    """

    cue: Cue
    box: Box
    outline: Outline = ()
    visible: bool = True
    grade: str | None = None
    measures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TruthFastener:
    """A labelled fastener: centre and radius in pixels of the upright photo, as in ``Fastener``.

    ``kind`` is one of ``visual_aid.model.KINDS`` or ``other``. ``ignore``: hidden, cut off or small, so
    that finding it and missing it count neither way.
    """

    id: int
    kind: str
    cx: float
    cy: float
    radius: float
    outline: Outline = ()
    angle: float | None = None
    ignore: bool = False
    cues: tuple[TruthCue, ...] = ()

    @property
    def teaches(self) -> bool:
        """Whether it can be learned from what a fastener looks like.

        By-eye labels count neither way where they are small, or a part is taken off: both teach here.
        """
        by_eye = not self.outline and (self.radius < LEAST_RADIUS or self.kind not in IN_PLACE)
        return self.kind in KINDS and (not self.ignore or by_eye)


@dataclass(frozen=True, slots=True)
class LookAlike:
    """A labelled look-alike."""

    type: str
    box: Box


@dataclass(frozen=True, slots=True)
class TruthPhoto:
    """All labels of one photo; ``path`` is the photo's own, beside the labels.

    ``gravity`` is a unit vector (x, y) in pixels. Nothing inside ``ignore_regions`` counts.
    ``plane`` is the homography, row by row, from the part's plane (any length unit, y up) to pixels.
    """

    path: Path
    width: int
    height: int
    fasteners: tuple[TruthFastener, ...] = ()
    look_alikes: tuple[LookAlike, ...] = ()
    ignore_regions: tuple[Box, ...] = ()
    gravity: tuple[float, float] = (0.0, 1.0)
    tilt: float | None = None
    plane: tuple[tuple[float, ...], ...] | None = None

    @property
    def name(self) -> str:
        """The photo's file name, by which records are matched to labels."""
        return self.path.name


def read_truths(folder: str | Path) -> list[TruthPhoto]:
    """Read the labels of every photo in a folder, in the order of the label files' names.

    Parameters
    ----------
    folder : str or Path
        Holds ``NAME.json`` beside ``NAME.jpg``. Other JSON files (without ``image`` and ``fasteners``)
        are passed over.

    Raises
    ------
    ValueError
        The folder holds no labelled photo, or a label file cannot be read; the message names the file.
    """
    truths = []
    for path in sorted(Path(folder).glob("*.json")):
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
            if isinstance(data, dict) and "image" in data and "fasteners" in data:
                truths.append(parse_truth(data, path.parent))
        except KeyError as missing:
            raise ValueError(f"{path}: a label lacks {missing}; add it or remove the label") from missing
        except (AttributeError, TypeError, ValueError) as wrong:
            raise ValueError(f"{path}: labels cannot be read ({wrong}); mend or remove the file") from wrong
    if not truths:
        raise ValueError(f"{folder}: no labelled photos (NAME.json with image and fasteners beside NAME.jpg)")
    return truths


def parse_truth(data: Mapping[str, Any], folder: Path) -> TruthPhoto:
    """Make labels of one photo from a label file's content.

    Parameters
    ----------
    data : mapping
        ``image``, ``width``, ``height``, ``fasteners`` (``id, kind, cx, cy, r`` and, where known,
        ``outline, angle, visible_fraction, ignore, cues``) and, where known, ``decoys`` (``type, bbox``),
        ``ignore_regions``, ``gravity``, ``tilt`` and ``plate_mm_to_px`` (homography of the part's plane).
        A cue has ``type, bbox`` and, where known,
        ``visible, grade, outline`` and figures. Boxes are (x, y, width, height).
    folder : Path
        Where the photo lies.

    Raises
    ------
    AttributeError, KeyError, TypeError, ValueError
        A field is missing or of the wrong kind.
    """
    gx, gy = data.get("gravity", (0.0, 1.0))
    return TruthPhoto(
        path=folder / data["image"],
        width=data["width"],
        height=data["height"],
        fasteners=tuple(_fastener(f) for f in data["fasteners"]),
        look_alikes=tuple(
            LookAlike(d["type"], _box(d["bbox"])) for d in data.get("decoys", ()) if "bbox" in d
        ),
        ignore_regions=tuple(_box(r) for r in data.get("ignore_regions", ())),
        gravity=(gx, gy),
        tilt=data.get("tilt"),
        plane=None if "plate_mm_to_px" not in data else tuple(tuple(row) for row in data["plate_mm_to_px"]),
    )


def _fastener(data: Mapping[str, Any]) -> TruthFastener:
    if not data["r"] > 0:
        raise ValueError(f"fastener {data['id']}: its radius r has to be above 0")
    hidden = data.get("visible_fraction", 1.0) < LEAST_VISIBLE or data["r"] < LEAST_RADIUS
    return TruthFastener(
        id=data["id"],
        kind=data["kind"],
        cx=data["cx"],
        cy=data["cy"],
        radius=data["r"],
        outline=_outline(data.get("outline", ())),
        angle=data.get("angle"),
        ignore=hidden or data.get("ignore", False),
        cues=tuple(_cue(c) for c in data.get("cues", ())),
    )


def _cue(data: Mapping[str, Any]) -> TruthCue:
    if data["type"] not in CUES:
        raise ValueError(f"no cue is called {data['type']!r}")
    named = {"type", "bbox", "outline", "visible", "grade"}
    return TruthCue(
        cue=data["type"],
        box=_box(data["bbox"]),
        outline=_outline(data.get("outline", ())),
        visible=data.get("visible", True),
        grade=data.get("grade"),
        measures={k: float(v) for k, v in data.items() if k not in named},
    )


def _box(data: Sequence[float]) -> Box:
    x, y, width, height = data
    return (x, y, width, height)


def _outline(data: Sequence[Sequence[float]]) -> Outline:
    return tuple((x, y) for x, y in data)
