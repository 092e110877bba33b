"""Lay measurements of wear beside the truth of labelled pictures.

Definitions:

- A case is one or two pictures with what is boxed on them and the truth. Cases are made anew from their
  seeds, or read from a folder of labelled pictures.
- Seeds from ``HELD_OUT`` on shape nothing: thresholds were tuned on lower ones.
- A case that the engine declines to measure is counted and leaves no error.
- An uncertainty is right if two of three errors are within it and nineteen of twenty within twice.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.stats import spearmanr

from visual_aid.decoder import read_photo_bytes
from visual_aid.evaluation.made.areas import chafe, fluid_run, rubber_crack, rust_grade
from visual_aid.evaluation.made.camera import Texture
from visual_aid.evaluation.made.case import Case
from visual_aid.evaluation.made.leaves import broken_leaf, leaf_shift
from visual_aid.evaluation.made.lengths import height_difference, movement, ride_height_hold, scale_card
from visual_aid.evaluation.made.rounds import bushing_offset, hole_elongation
from visual_aid.evaluation.made.surfaces import Rng
from visual_aid.measure.measurement import Measurement
from visual_aid.measure.rust_grade import d610_grade
from visual_aid.measure.scale import project
from visual_aid.measure.scale_card import Card, corners_of_marks, find_card
from visual_aid.measure.wear import measure_wear
from visual_aid.model import WEARS, Wear

HELD_OUT = 1000
CASES = 24
"""Cases of each kind unless told otherwise."""

MAKERS: Mapping[str, Callable[[Rng], Case]] = {
    "scale_card": scale_card,
    "movement": movement,
    "bushing_offset": bushing_offset,
    "rubber_crack": rubber_crack,
    "chafe": chafe,
    "fluid_run": fluid_run,
    "hole_elongation": hole_elongation,
    "leaf_shift": leaf_shift,
    "broken_leaf": broken_leaf,
    "height_difference": height_difference,
    "ride_height_hold": ride_height_hold,
    "rust_grade": rust_grade,
}
JUDGED: Mapping[str, str] = {
    "movement": "movement_mm",
    "bushing_offset": "offset_percent",
    "rubber_crack": "density_ratio",
    "chafe": "chafed_percent",
    "hole_elongation": "axis_ratio",
    "leaf_shift": "shift_share",
    "height_difference": "difference_mm",
    "ride_height_hold": "difference_mm",
    "rust_grade": "rusted_percent",
}
"""The figure of each kind whose error is reported; kinds told by likeness are not among them."""


@dataclass(frozen=True, slots=True)
class WearFigures:
    """How well one kind is measured. A figure that the cases cannot give is None.

    Attributes
    ----------
    wear : str
        The kind; ``scale_card`` for lengths beside the card, as a share of the length.
    figure : str
        What the errors are of.
    cases, measured : int
    error_median, error_95 : float
        Median and 95th percentile of the absolute error.
    within, within_twice : float
        Share of errors within the uncertainty given, and within twice that.
    extra : dict
        What else the kind is judged by, by name.
    """

    wear: str
    figure: str
    cases: int
    measured: int
    error_median: float | None
    error_95: float | None
    within: float | None
    within_twice: float | None
    extra: Mapping[str, float]

    def to_dict(self) -> dict[str, Any]:
        """Give the figures by name."""
        return {**asdict(self), "extra": dict(self.extra)}


def made_cases(wear: str, count: int = CASES, first: int = HELD_OUT) -> Iterator[Case]:
    """Make cases of a kind, one a seed."""
    number = list(MAKERS).index(wear)
    for seed in range(first, first + count):
        yield MAKERS[wear](np.random.default_rng((seed, number)))


def read_cases(folder: Path) -> dict[str, list[Case]]:
    """Read labelled pictures: one JSON file a case, named wear_*.json, beside its photos.

    Raises
    ------
    ValueError
        There is none, or one is not a label of wear; the message names the file.
    """
    cases: dict[str, list[Case]] = {}
    for path in sorted(folder.glob("wear_*.json")):
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
            photos = tuple((path.parent / str(name)).read_bytes() for name in data["photos"])
            boxes = tuple((float(x), float(y), float(w), float(h)) for x, y, w, h in data["boxes"])
            case = Case(str(data["wear"]), photos, boxes, dict(data["truth"]))
            if case.wear not in MAKERS:
                raise ValueError(f"unknown kind {case.wear!r}")
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise ValueError(f"{path}: not the label of a worn part ({error!r})") from error
        cases.setdefault(case.wear, []).append(case)
    if not cases:
        raise ValueError(f"no labelled wear in {folder}: labels are named wear_*.json")
    return cases


def judge_wear(wear: str, cases: Iterable[Case]) -> WearFigures:
    """Measure cases of one kind and work out the figures."""
    if wear == "scale_card":
        return _judge_card(list(cases))
    assert wear in WEARS
    pairs = [(case, measured(case)) for case in cases]
    if wear == "fluid_run":
        return _judge_fluid(pairs)
    if wear == "broken_leaf":
        return _judge_breaks(pairs)
    return _judge_figure(wear, pairs)


def measured(case: Case) -> Measurement:
    """Measure a case."""
    photos = [read_photo_bytes(data, f"made{i}.jpg") for i, data in enumerate(case.photos)]
    wear: Wear = next(w for w in WEARS if w == case.wear)
    return measure_wear(wear, photos, case.boxes)


def _judge_figure(wear: str, pairs: Sequence[tuple[Case, Measurement]]) -> WearFigures:
    name = JUDGED[wear]
    found, true, doubts = [], [], []
    for case, measurement in pairs:
        for figure in measurement.figures:
            if figure.name == name:
                found.append(figure.value)
                true.append(abs(_number(case.truth[name])))
                doubts.append(figure.uncertainty or math.nan)
    errors = np.abs(np.array(found) - np.array(true))
    extra: dict[str, float] = {}
    if wear == "rust_grade" and found:
        steps = np.array([abs(d610_grade(f) - d610_grade(t)) for f, t in zip(found, true, strict=True)])
        extra = {
            "grade_within_one_step": float((steps <= 1).mean()),
            "within_3_points": float((errors <= 3).mean()),
        }
    if wear in ("rubber_crack", "chafe", "leaf_shift") and len(found) > 2:
        extra = {"rank_correlation": float(spearmanr(found, true).statistic)}
    if wear == "bushing_offset":
        extra = _by_card(pairs, name)
    extra |= _covered(pairs, name)
    return _figures(wear, name, pairs, errors, np.array(doubts), extra)


def _covered(pairs: Sequence[tuple[Case, Measurement]], judged: str) -> dict[str, float]:
    """Give how often the truth lies within the uncertainty of the other figures that have one."""
    within: dict[str, list[bool]] = {}
    for case, measurement in pairs:
        for figure in measurement.figures:
            true = case.truth.get(figure.name)
            if figure.name != judged and figure.uncertainty is not None and isinstance(true, (int, float)):
                right = abs(figure.value - abs(true)) <= figure.uncertainty
                within.setdefault(f"within_doubt_{figure.name}", []).append(right)
    return {name: _mean(flags) for name, flags in within.items()}


def _by_card(pairs: Sequence[tuple[Case, Measurement]], name: str) -> dict[str, float]:
    split: dict[str, float] = {}
    for with_card in (True, False):
        errors = [
            abs(m.figure(name) - _number(c.truth[name]))
            for c, m in pairs
            if m.outcome != "cannot_measure" and (m.scale is not None) == with_card
        ]
        if errors:
            which = "with" if with_card else "without"
            split[f"median_{which}_card"] = float(np.median(errors))
            split[f"p95_{which}_card"] = float(np.percentile(errors, 95))
    return split


def _judge_fluid(pairs: Sequence[tuple[Case, Measurement]]) -> WearFigures:
    told: list[bool] = []
    wet: list[bool] = []
    unclear = 0
    for case, measurement in pairs:
        if measurement.score is None:
            continue
        unclear += measurement.outcome == "unclear"
        right = (measurement.score >= 0.5) == (case.truth["state"] == "fluid_run")
        told.append(right)
        if case.truth["state"] != "dry":
            wet.append(right)
    extra = {
        "film_against_run_right": _mean(wet),
        "right": _mean(told),
        "said_unclear": unclear / max(len(told), 1),
    }
    return _figures("fluid_run", "state", pairs, np.empty(0), np.empty(0), extra, len(told))


def _judge_breaks(pairs: Sequence[tuple[Case, Measurement]]) -> WearFigures:
    called: dict[bool, list[bool]] = {True: [], False: []}
    for case, measurement in pairs:
        if measurement.outcome != "cannot_measure":
            called[_number(case.truth["breaks"]) > 0].append(measurement.figure("breaks") > 0)
    extra = {"broken_found": _mean(called[True]), "sound_called_broken": _mean(called[False])}
    count = len(called[True]) + len(called[False])
    return _figures("broken_leaf", "breaks", pairs, np.empty(0), np.empty(0), extra, count)


def _judge_card(cases: Sequence[Case]) -> WearFigures:
    errors, doubts, plain = [], [], []
    found = plainly = 0
    for case in cases:
        photo = read_photo_bytes(case.photos[0], "made.jpg")
        ends = np.array(case.truth["ends"], float).reshape(-1, 2, 2)
        lengths = np.array(case.truth["lengths"], float).ravel()
        card = find_card(photo)
        if isinstance(card, Card):
            found += 1
            for (a, b), length in zip(ends, lengths, strict=True):
                value, doubt = card.scale.length((a[0], a[1]), (b[0], b[1]), 0.0)
                errors.append(abs(value / length - 1))
                doubts.append(doubt / length)
        to_mm = _plain_plane(cv2.cvtColor(photo.full, cv2.COLOR_RGB2GRAY))
        if to_mm is not None:
            plainly += 1
            apart = np.diff(project(to_mm, ends), axis=1)[:, 0]
            plain += list(np.abs(np.hypot(*apart.T) / lengths - 1))
    extra = {"plainly_found": plainly / max(len(cases), 1)}
    if plain:
        extra |= {"plain_median": float(np.median(plain)), "plain_p95": float(np.percentile(plain, 95))}
    return _figures(
        "scale_card", "length", [(c, None) for c in cases], np.array(errors), np.array(doubts), extra, found
    )


def _plain_plane(grey: Texture) -> np.ndarray[Any, np.dtype[np.float64]] | None:
    """Give what OpenCV's detector and homography make of the card as they come, to compare with."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, ids, _ = detector.detectMarkers(grey)
    known = corners_of_marks()
    pairs = [
        (known[int(i)], c.reshape(4, 2))
        for c, i in zip(corners, [] if ids is None else ids.ravel(), strict=True)
        if int(i) in known
    ]
    if not pairs:
        return None
    mm, px = np.concatenate([m for m, _ in pairs]), np.concatenate([p for _, p in pairs]).astype(float)
    homography, _ = cv2.findHomography(px, mm, cv2.RANSAC, 3.0)
    return None if homography is None else np.asarray(homography, float)


def _figures(
    wear: str,
    figure: str,
    pairs: Sequence[tuple[Case, Measurement | None]],
    errors: np.ndarray[Any, np.dtype[np.float64]],
    doubts: np.ndarray[Any, np.dtype[np.float64]],
    extra: Mapping[str, float],
    count: int | None = None,
) -> WearFigures:
    known = np.isfinite(doubts) if len(doubts) else np.zeros(0, bool)
    return WearFigures(
        wear,
        figure,
        len(pairs),
        len(errors) if count is None else count,
        float(np.median(errors)) if len(errors) else None,
        float(np.percentile(errors, 95)) if len(errors) else None,
        float((errors <= doubts)[known].mean()) if known.any() else None,
        float((errors <= 2 * doubts)[known].mean()) if known.any() else None,
        {key: value for key, value in extra.items() if math.isfinite(value)},
    )


def _number(value: object) -> float:
    assert isinstance(value, (int, float))
    return float(value)


def _mean(flags: Sequence[bool]) -> float:
    return sum(flags) / len(flags) if flags else math.nan
