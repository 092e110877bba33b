"""How far a nut turned between two photos that are laid on each other.

Both photos are rectified to the plane of the part, so that a nut that did not turn looks alike in both,
whatever the light. The ring of the nut's face and outline from one photo is then turned on the other until
the directions of their edges agree best, at a turn that where its corners point in both photos bears out.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from visual_aid.measure.agreement import (
    COARSE,
    FINE,
    agreement_both_ways,
    best_agreement,
    moved_edges,
    moved_share,
)
from visual_aid.measure.corners import at_turns, corner_odds, shared_corner, turn_odds
from visual_aid.measure.nut_view import Floats, NutView

COARSE_TURNS = tuple(range(-33, 34, 3))
"""Degrees tried first: a hexagon looks the same after 60."""
RULED_OUT = -0.5
"""Natural logarithm of how many times likelier than by chance corners have to make a turn that is tried."""
FINE_STEP, MOST_CLIMB = 1.5, 6.0
"""Degrees between the turns tried while climbing from the best coarse turns, and how far a climb goes."""
PEAKS = 2
STILL_BONUS, STILL_SPREAD = 0.04, 2.5
"""What agreement a nut that stayed is given in advance, most nuts being such, and over how many degrees."""
FULL_TURN_GAIN, FULL_TURN_AGREEMENT = 0.12, 0.6
"""By how much the agreement has to rise, and to what, before a turn is taken to be 60 degrees or more."""
SUPPORT = 0.07
"""Agreement that the corners' odds for a turn are worth, each natural logarithm: what stayed around a nut and
on it agrees best unturned and may outweigh the nut, which its corners tell."""
PLAINLY = 2.0
"""How many times likelier corners have to make no turn than the one measured before it is not believed."""
AT_REST = 1.5
"""Degrees under which what stayed, around a nut and on it, cannot have drawn the turn off by much."""
SETTLINGS, MOST_SETTLED = 4, 6.0
"""How often a turn is measured again without what stayed, and how far it may move by that, in degrees."""
SETTLING = (-4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5)
"""Turns tried around the one before, in degrees."""
SETTLED_WITHIN = 0.2
AMONG_STILL = tuple(turn for turn in range(-30, 30, 3) if abs(turn) > 6)
"""Degrees asked about what turned amid what stayed; smaller turns draw the whole along."""
DENIED = 1.0
"""Natural logarithm of how many times likelier than none corners have to make a turn before it is asked."""
LEAST_MOVED = 0.05
"""Gain of the moved edges at one turn over the median of all from which a nut turned. Of 221 nuts of made
pairs that stayed one is called turned with this or 0.1, of 79 that turned 65 or 63 are found."""
DOUBT, DOUBT_RISE = 0.2, 1.8
"""Uncertainty in degrees at full agreement, and the power by which it rises where they agree less:
set on 97 nuts of made pairs; of 563 on 131 pairs 82 % lie within it."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn as measured.

    Attributes
    ----------
    degrees : float
        Clockwise positive as seen, from the first view to the second.
    agreement : float
        How well the edges agree at that turn, -1 to 1.
    support, unturned : float
        What the corners' odds for it add to that, and what those for no turn would.
    """

    degrees: float
    agreement: float
    support: float = 0.0
    unturned: float = 0.0

    @property
    def together(self) -> float:
        """Agreement, with what corners that point there add; where they do not, nothing is taken off."""
        return self.agreement + max(self.support, 0.0)

    @property
    def borne_out(self) -> bool:
        """Whether the corners do not plainly rather point to no turn."""
        return self.support >= self.unturned - SUPPORT * math.log(PLAINLY)

    @property
    def uncertainty(self) -> float:
        """Degrees within which two of three turns of such agreement are right."""
        return DOUBT / float(max(self.together, 0.05) ** DOUBT_RISE)


def measure_turn(a: NutView, b: NutView) -> Turn:
    """Measure how far a nut turned from one view to another.

    The turn is known modulo 60 degrees from the outline; where marks, paint or rust on the nut tell the
    sixths apart, it is given in full (-180 to 180).
    """
    corners = corner_odds(a), corner_odds(b)
    odds = SUPPORT * turn_odds(*corners)
    asked = [turn for turn in COARSE_TURNS if at_turns(odds, turn) > RULED_OUT * SUPPORT]
    coarse = _scores(a, b, asked, COARSE) + at_turns(odds, asked)
    order = [i for i in np.argsort(-coarse) if _is_peak(coarse, i)][:PEAKS]
    starts = 0.0, *(float(asked[i]) for i in order)
    scores: dict[float, float] = {}
    # All at once, since what either photo shows is then set up once.
    _add_scores(a, b, [turn for start in starts for turn in _around(start)], scores)
    tops = [_climb(a, b, start, scores) for start in starts]
    top = max(tops, key=lambda turn: scores[turn] + float(at_turns(odds, turn)))
    turns = np.array(sorted(scores))
    values = np.array([scores[turn] for turn in turns])
    degrees, agreed = _vertex(turns, values, int(np.searchsorted(turns, top))), scores[top]
    if abs(degrees) > AT_REST:
        degrees, _ = _settled(a, b, degrees, corners)
    elif (among := _turned_among_still(a, b, odds)) is not None:
        degrees, agreed = _settled(a, b, among, corners)
    support, unturned = (float(at_turns(odds, turn)) for turn in (degrees, 0.0))
    degrees = (degrees + 30) % 60 - 30
    sixths = [degrees + 60 * k for k in range(-2, 4)]
    for density in (COARSE, FINE):  # the quick look settles most nuts
        folded = _scores(a, b, sixths, density, bonus=False)
        other = int(folded.argmax())
        if folded[other] <= max(folded[2] + FULL_TURN_GAIN * density / FINE, FULL_TURN_AGREEMENT):
            return Turn(degrees, agreed, support, unturned)
    full, _ = _settled(a, b, sixths[other], corners)
    return Turn((full + 180) % 360 - 180, float(folded[other]), support, unturned)


def _turned_among_still(a: NutView, b: NutView, odds: Floats) -> float | None:
    """Give the turn of a nut amid so much that stayed that it seemed to stay too; None where it did."""
    if odds.max() - odds[0] < DENIED * SUPPORT:
        return None
    gain = moved_edges(a, b, AMONG_STILL)
    plainest = int((gain + at_turns(odds, AMONG_STILL)).argmax())
    return None if gain[plainest] - np.median(gain) < LEAST_MOVED else float(AMONG_STILL[plainest])


def _settled(a: NutView, b: NutView, degrees: float, corners: tuple[Floats, Floats]) -> tuple[float, float]:
    """Measure again without what stayed, which draws the turn towards none.

    The surface beyond the flats stays, and on the nut the shadows and what the light shows by its direction.
    Edges on the nut that agree better unturned than turned count the less the plainer that is: two layers,
    one still and one turned, told apart and measured in turns. The agreement that comes with the turn is the
    turned layer's.
    """
    first, agreed = degrees, 0.0
    for _ in range(SETTLINGS):
        flat = shared_corner([(corners[0], 0.0), (corners[1], degrees)]) + 30
        a, b = dataclasses.replace(a, flat=flat), dataclasses.replace(b, flat=flat + degrees)
        turns = [degrees + step for step in SETTLING]
        moving = moved_share(a, b, degrees), moved_share(b, a, -degrees)
        scores = best_agreement(agreement_both_ways(a, b, turns, FINE, moving), FINE)
        before, degrees = degrees, _vertex(np.array(turns), scores, int(scores.argmax()))
        if abs(degrees - first) > MOST_SETTLED:
            return first, agreed
        agreed = float(scores.max())
        if abs(degrees - before) < SETTLED_WITHIN:
            break
    return degrees, agreed


def _climb(a: NutView, b: NutView, start: float, scores: dict[float, float]) -> float:
    """Score turns from ``start`` upwards until the best has lower ones on both sides, and give that one."""
    best = start
    while True:
        around = _around(best)
        _add_scores(a, b, around, scores)
        top = max(around, key=lambda turn: scores[turn])
        if top == best or abs(top - start) > MOST_CLIMB:
            return best
        best = top


def _around(turn: float) -> tuple[float, float, float]:
    return turn - FINE_STEP, turn, turn + FINE_STEP


def _add_scores(a: NutView, b: NutView, turns: Sequence[float], scores: dict[float, float]) -> None:
    """Add the scores of turns that have none yet."""
    if new := sorted({*turns} - scores.keys()):
        scores.update(zip(new, _scores(a, b, new, FINE), strict=True))


def _scores(a: NutView, b: NutView, turns: Sequence[float], density: int, *, bonus: bool = True) -> Floats:
    """Give each turn its best agreement over the shifts."""
    best = best_agreement(agreement_both_ways(a, b, turns, density), density)
    return best + bonus * STILL_BONUS * np.exp(-((np.asarray(turns) / STILL_SPREAD) ** 2))


def _is_peak(scores: Floats, i: int) -> bool:
    return bool(scores[i] >= scores[max(i - 1, 0)] and scores[i] >= scores[min(i + 1, len(scores) - 1)])


def _vertex(turns: Floats, scores: Floats, best: int) -> float:
    """Give the top of the parabola through the best score and its neighbours."""
    if not 0 < best < len(turns) - 1:
        return float(turns[best])
    x, y = turns[best - 1 : best + 2] - turns[best], scores[best - 1 : best + 2] - scores[best]
    curve, slope = np.linalg.solve(np.column_stack([x[[0, 2]] ** 2, x[[0, 2]]]), y[[0, 2]])
    return float(turns[best] + (np.clip(-slope / (2 * curve), x[0], x[2]) if curve < 0 else 0.0))
