"""Lay comparisons of two visits beside the true turns of the nuts.

Definitions:

- A nut counts where at least ``LEAST_VISIBLE`` of it shows in both photos. It is compared where the first
  turn within ``NEAREST_RADII`` of its centre in the 'before' photo stands.
- A hexagon looks the same after 60 degrees, so errors are taken modulo 60.
- A nut moved if it turned by at least ``MOVED`` degrees; it stayed if it turned by none. A nut that moved
  and is not compared is missed.
- Photos of two pairs laid together are a wrong pair, which should be refused.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

LEAST_VISIBLE = 0.7
NEAREST_RADII = 0.6
MOVED = 5.0


@dataclass(frozen=True, slots=True)
class TrueTurn:
    """One labelled nut: place and radius in the 'before' photo, turn in degrees, share that is visible."""

    cx: float
    cy: float
    radius: float
    turn: float
    visible: float


@dataclass(frozen=True, slots=True)
class TruePair:
    """Two photos of one joint, by file name, and the turns of its nuts."""

    before: str
    after: str
    turns: tuple[TrueTurn, ...]


@dataclass(frozen=True, slots=True)
class PairFigures:
    """How well turns are measured. A figure that the labels cannot give is None.

    Attributes
    ----------
    declined : int
        True pairs that were not compared.
    turn_error_median, turn_error_95 : float
        Median and 95th percentile of the error modulo 60, degrees.
    turned_found : float
        Share of nuts that moved which are called turned.
    unturned_called_turned : float
        Share of compared nuts that stayed which are called turned.
    """

    pairs: int
    declined: int
    nuts_compared: int
    nuts_not_compared: int
    turn_error_median: float | None
    turn_error_95: float | None
    turned_found: float | None
    unturned_called_turned: float | None
    wrong_pairs: int
    wrong_pairs_refused: float | None

    def to_dict(self) -> dict[str, Any]:
        """Give the figures by name."""
        return asdict(self)


def read_pairs(folder: Path) -> list[TruePair]:
    """Read the labels of a folder of pairs: one JSON file a pair, named pair_*.json, beside its photos.

    Raises
    ------
    ValueError
        There is none, or one is not a label of a pair; the message names the file.
    """
    pairs = []
    for path in sorted(folder.glob("pair_*.json")):
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
            turns = tuple(_true_turn(nut) for nut in data["turns"])
            pairs.append(TruePair(str(data["a"]), str(data["b"]), turns))
        except (ValueError, KeyError, TypeError) as error:
            raise ValueError(f"{path}: not the label of a pair ({error!r})") from error
    if not pairs:
        raise ValueError(f"no labelled pairs in {folder}: their labels are named pair_*.json")
    return pairs


def _true_turn(nut: Mapping[str, Any]) -> TrueTurn:
    x, y, radius = (float(value) for value in nut["a"])
    return TrueTurn(x, y, radius, float(nut["turn_deg"]), float(nut["visible"]))


def judge_pairs(truths: Sequence[TruePair], comparisons: Iterable[Mapping[str, Any]]) -> PairFigures:
    """Work out the figures.

    Parameters
    ----------
    truths : sequence of TruePair
    comparisons : iterable of mapping
        As ``Comparison.to_dict`` gives them; those of true pairs and of wrong ones in any order.
    """
    by_names = {(truth.before, truth.after): truth for truth in truths}
    errors: list[float] = []
    called: dict[bool, list[bool]] = {True: [], False: []}  # of nuts that moved, and of those that stayed
    refused: list[bool] = []
    declined = missing = 0
    for comparison in comparisons:
        truth = by_names.get((comparison["before"], comparison["after"]))
        if truth is None:
            refused.append(not comparison["comparable"])
            continue
        declined += not comparison["comparable"]
        for nut in truth.turns:
            if nut.visible < LEAST_VISIBLE:
                continue
            moved = abs(nut.turn) >= MOVED
            measured = _measured(comparison, nut)
            if measured is None:
                missing += 1
                called[True] += [False] * moved
                continue
            errors.append(abs((measured["turn"] - nut.turn + 30) % 60 - 30))
            if moved or nut.turn == 0:
                called[moved].append(bool(measured["turned"]))
    return PairFigures(
        pairs=len(truths),
        declined=declined,
        nuts_compared=len(errors),
        nuts_not_compared=missing,
        turn_error_median=float(np.median(errors)) if errors else None,
        turn_error_95=float(np.percentile(errors, 95)) if errors else None,
        turned_found=_share(called[True]),
        unturned_called_turned=_share(called[False]),
        wrong_pairs=len(refused),
        wrong_pairs_refused=_share(refused),
    )


def _measured(comparison: Mapping[str, Any], nut: TrueTurn) -> Mapping[str, Any] | None:
    for turn in comparison["turns"] if comparison["comparable"] else ():
        if math.hypot(turn["cx"] - nut.cx, turn["cy"] - nut.cy) <= NEAREST_RADII * nut.radius:
            found: Mapping[str, Any] = turn
            return found
    return None


def _share(flags: Sequence[bool]) -> float | None:
    return sum(flags) / len(flags) if flags else None
