"""One joint at two visits: which nuts turned, and what is there that was not."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence.frame import box_of, plane_to_image
from visual_aid.fasteners.channels import Radii
from visual_aid.fasteners.find import SOUGHT, Overview, find_fasteners, look_over
from visual_aid.fasteners.lean import lean_in
from visual_aid.fasteners.search import MIN_SCORE
from visual_aid.measure.hexagon_size import common_size
from visual_aid.measure.laying import Registration, registrations
from visual_aid.measure.measurement import CLEAR_OF_DOUBT
from visual_aid.measure.nut_view import NutView, grey_octaves
from visual_aid.measure.pairing import Place, pair_fasteners
from visual_aid.measure.turn import measure_turn
from visual_aid.model import NOT_IN_PLACE, Candidate, Fastener, Outline, Screening, Sign
from visual_aid.photo import Photo
from visual_aid.quality import judge, retakes

SCHEMA = "visual-aid/comparison/1"

FAINT_SCORE = 0.05
"""Finds scored lower are not even looked for in the other photo; two faint ones make one that counts."""
SIZE_MARGIN = 1.6
"""Factor by which the later photo's fasteners are sought smaller than the earlier one has them."""
MOST_TILT = 55.0
"""Degrees off the part's normal beyond which the near side of a nut hides its outline."""
LEAST_TURN = 4.0
"""Degrees under which no nut is called turned; common practice, no source. Of 413 nuts that stayed, on
131 pairs of made pictures, 408 are measured within 2 degrees and nine in ten within 0.7."""
ALIKE, HARDLY_ALIKE = (0.1, 0.15), (0.05, 0.1)
"""Agreement of the edges, and that with the corners' support, under which the two views of a nut are too
unlike to say that it stayed, and too unlike for a turn to mean anything, however clear of its doubt."""
MOST_CHANCE = 0.999
"""No measurement of a photo is surer than this, whatever the normal distribution says far out."""
MOSTLY = 0.5
"""Share of the nuts that have to meet in the plane; else another way to lay the photos is tried."""
RIM = 1.3
"""Nut radii from the middle of a turned nut to the line around it: clear of its corners."""
STANDS = 0.5
"""Score from which a candidate that only the later photo shows is news."""

Floats = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class NutTurn:
    """How far one nut turned between two visits.

    Attributes
    ----------
    cx, cy : float
        Centre of the nut's top in full pixels of the upright 'before' photo.
    radius : float
        Half the width across flats as seen there.
    after : (float, float)
        Centre in the 'after' photo.
    turn : float
        Degrees, clockwise positive as seen; modulo 60 unless marks on the nut settle it.
    uncertainty : float
        Degrees within which two of three such measurements lie.
    turned : bool
        Whether the turn is evidence to check by hand.
    """

    cx: float
    cy: float
    radius: float
    after: tuple[float, float]
    turn: float
    uncertainty: float
    turned: bool

    @property
    def chance(self) -> float:
        """Chance, never a certainty, that the nut turned by half of ``LEAST_TURN``, if errors are normal."""
        return min(MOST_CHANCE, NormalDist().cdf((abs(self.turn) - LEAST_TURN / 2) / self.uncertainty))

    @property
    def say(self) -> str:
        """The turn in words."""
        way = "clockwise" if self.turn > 0 else "anticlockwise"
        return f"turned {abs(self.turn):.1f}° ± {self.uncertainty:.1f}° {way}"


@dataclass(frozen=True, slots=True)
class News:
    """Evidence that only the later photo shows.

    Attributes
    ----------
    cue : Sign
        Cue of the candidate; ``missing_nut`` where a nut is gone.
    candidate : int or None
        Number of the candidate in the later photo's record; None where a nut is gone.
    cx, cy : float
        The fastener's place in the 'before' photo.
    say : str
        What is new, in words.
    """

    cue: Sign
    candidate: int | None
    cx: float
    cy: float
    say: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """What two photos of one joint say together.

    Attributes
    ----------
    before, after : str
        File names of the photos.
    why : str or None
        Why they cannot be compared; None where they can.
    homography : tuple of 9 floats, or None
        Rows of the matrix from full pixels of 'before' to full pixels of 'after', in the part's plane.
    not_measured : int
        Nuts that both photos show, but too unlike to measure.
    """

    before: str
    after: str
    why: str | None = None
    homography: tuple[float, ...] | None = None
    turns: tuple[NutTurn, ...] = ()
    not_measured: int = 0
    news: tuple[News, ...] = ()

    @property
    def comparable(self) -> bool:
        """Whether anything could be measured."""
        return self.why is None

    def to_dict(self) -> dict[str, Any]:
        """Give the comparison as plain lists and dicts, rounded to what the measurement supports."""
        return {
            "schema": SCHEMA,
            "before": self.before,
            "after": self.after,
            "comparable": self.comparable,
            "why": self.why,
            "homography": None if self.homography is None else list(self.homography),
            "turns": [
                {
                    "cx": round(t.cx, 1),
                    "cy": round(t.cy, 1),
                    "radius": round(t.radius, 1),
                    "after": [round(t.after[0], 1), round(t.after[1], 1)],
                    "turn": round(t.turn, 1),
                    "uncertainty": round(t.uncertainty, 1),
                    "turned": t.turned,
                }
                for t in self.turns
            ],
            "not_measured": self.not_measured,
            "news": [
                {
                    "cue": n.cue,
                    "candidate": n.candidate,
                    "cx": round(n.cx, 1),
                    "cy": round(n.cy, 1),
                    "say": n.say,
                }
                for n in self.news
            ],
        }

    def to_json(self) -> str:
        """Give the comparison as one line of JSON."""
        return json.dumps(self.to_dict(), ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Comparison:
        """Read a comparison back.

        Raises
        ------
        ValueError
            The data is not a comparison of this schema.
        """
        if data.get("schema") != SCHEMA:
            raise ValueError(f"not a comparison of schema {SCHEMA}: {data.get('schema')!r}")
        try:
            homography = data["homography"]
            return cls(
                before=data["before"],
                after=data["after"],
                why=data["why"],
                homography=None if homography is None else tuple(homography),
                turns=tuple(NutTurn(**{**t, "after": (t["after"][0], t["after"][1])}) for t in data["turns"]),
                not_measured=data["not_measured"],
                news=tuple(News(**n) for n in data["news"]),
            )
        except (IndexError, KeyError, TypeError) as wrong:
            raise ValueError(f"a comparison that cannot be read: {wrong!r}") from wrong

    def candidates(self) -> tuple[Candidate, ...]:
        """Give the nuts that turned as candidates on the 'after' photo, ids from 1, the surest first."""
        turned = sorted((t for t in self.turns if t.turned), key=lambda t: -t.chance)
        flagged = []
        for number, turn in enumerate(turned, 1):
            outline = self._rim(turn)
            flagged.append(
                Candidate(
                    id=number,
                    cue="turned",
                    fastener=None,
                    box=box_of(outline),
                    outline=outline,
                    score=turn.chance,
                    measures={"turn_deg": turn.turn, "uncertainty_deg": turn.uncertainty},
                    reason=f"{turn.say} since {self.before}",
                )
            )
        return tuple(flagged)

    def _rim(self, turn: NutTurn) -> Outline:
        """Give a circle around a nut in the part's plane, as the 'after' photo shows it."""
        laid = Registration(np.reshape(self.homography or (), (3, 3)), 0)
        _, jacobian = laid.to_after(turn.cx, turn.cy)
        around = np.radians(np.arange(0, 360, 10))
        circle = RIM * turn.radius * np.column_stack([np.cos(around), np.sin(around)])
        return tuple((float(x), float(y)) for x, y in circle @ jacobian.T + turn.after)


def compare(
    before: Photo,
    after: Photo,
    records: tuple[Screening, Screening] | None = None,
    overview: Overview | None = None,
) -> Comparison:
    """Compare two photos of one joint.

    Parameters
    ----------
    before, after : Photo
        The earlier and the later photo.
    records : (Screening, Screening), optional
        Their screening records; with them, evidence that only the later photo shows is listed.
    overview : Overview, optional
        Of the photo before, where it has been looked over already; what the one after is searched for
        depends on it.

    Returns
    -------
    Comparison
        Photos that cannot be compared give one with ``why``.
    """
    names = before.info.name, after.info.name
    qualities = [record.quality for record in records] if records else [judge(before), judge(after)]
    for quality, which in zip(qualities, ("before", "after"), strict=True):
        if grave := retakes(quality.problems):
            return Comparison(*names, why=f"the photo {which} cannot be judged: {grave[0].say}")
    laid_out = _laid_out(before, after, overview)
    if laid_out is None:
        return Comparison(
            *names,
            why="too little in common: another joint, too little overlap, or too different a view; "
            "take it again from where the photo before was taken",
        )
    laid, places, finds = laid_out
    if not places:
        return Comparison(*names, why="no nut that both photos show: take them from nearer")
    tilt = max(_tilt(found) for found in finds)
    if tilt > MOST_TILT:
        return Comparison(
            *names, why=f"seen {tilt:.0f} degrees from the side: take it from nearer to head on"
        )
    turns = _turns(_views(laid, places, finds, before, after), places, after)
    if not turns:
        return Comparison(
            *names,
            why="the nuts look too unlike in the two photos: take them again in like light, sharp and clean",
        )
    return Comparison(
        *names,
        homography=tuple(float(v) for v in laid.homography.ravel()),
        turns=turns,
        not_measured=len(places) - len(turns),
        news=() if records is None else _news(laid, *records),
    )


def _laid_out(
    before: Photo, after: Photo, overview: Overview | None
) -> tuple[Registration, list[Place], list[tuple[Fastener, ...]]] | None:
    """Lay the photos on each other, so that what is found in one lies on what is found in the other.

    Returns
    -------
    tuple or None
        How they are laid, the nuts that both show, and the finds of either; None where they have too little
        in common.
    """
    finds: list[tuple[Fastener, ...]] = []
    best: tuple[Registration, list[Place]] | None = None
    for laid in registrations(before, after):
        # Photos of different joints are not searched: most of them share nothing.
        finds = finds or _finds(before, after, laid, overview)
        places = pair_fasteners(laid, finds[0], finds[1], _size(before), _size(after))
        if best is None or _met(places) > _met(best[1]):
            best = laid, places
        if _met(places) >= MOSTLY * len(places) > 0:
            break
    return None if best is None else (*best, finds)


def _finds(
    before: Photo, after: Photo, laid: Registration, overview: Overview | None
) -> list[tuple[Fastener, ...]]:
    """Find the fasteners of both photos; in the later one, those of the sizes that the earlier one shows."""
    early = _leaning(before, overview or look_over(before))
    return [early, _leaning(after, look_over(after, _sizes_seen(laid, early, after)))]


def _leaning(photo: Photo, overview: Overview) -> tuple[Fastener, ...]:
    """Give all finds; the lean is read again where the closer look has put the fastener."""
    return lean_in(overview.octaves, photo, find_fasteners(photo, FAINT_SCORE, overview))


def _sizes_seen(laid: Registration, early: Sequence[Fastener], after: Photo) -> Radii:
    """Say from what size on the photo after may show what the one before does, in its working pixels.

    Large fasteners are always sought: they cost little, and their studs' ends may be what was found before.
    """
    radii = [f.radius * laid.zoom(f.cx, f.cy) / after.scale for f in early if f.score >= MIN_SCORE]
    least = min(radii, default=0.0) / SIZE_MARGIN
    return max(least, SOUGHT[0]), SOUGHT[1]


def _met(places: Sequence[Place]) -> int:
    return sum(place.met for place in places)


def _tilt(fasteners: Sequence[Fastener]) -> float:
    return float(np.median([f.tilt or 0.0 for f in fasteners])) if fasteners else 0.0


def _views(
    laid: Registration,
    places: Sequence[Place],
    finds: Sequence[Sequence[Fastener]],
    before: Photo,
    after: Photo,
) -> list[tuple[NutView, NutView]]:
    """Set up how both photos see every nut, in one plane that both agree on."""
    grey = [grey_octaves(photo) for photo in (before, after)]
    known = [[f for f in found if f.kind not in NOT_IN_PLACE] for found in finds]
    stud = not _mostly_bolts([*known[0], *known[1]])
    leans = [_lean_field(found) for found in known]
    views = []
    for place in places:
        here = np.array([place.cx, place.cy])
        there = np.array(place.after)
        _, jacobian = laid.to_after(*here)
        plane = _plane(known, jacobian)
        there_plane = _unit(jacobian @ plane)
        matrix = plane * place.radius
        views.append(
            (
                NutView(
                    grey[0],
                    before.to_working(here),
                    matrix / before.scale,
                    np.linalg.solve(plane, leans[0](here)),
                    stud,
                ),
                NutView(
                    grey[1],
                    after.to_working(there),
                    jacobian @ matrix / after.scale,
                    np.linalg.solve(there_plane, leans[1](there)),
                    stud,
                    away=laid.away(*here) @ matrix,
                ),
            )
        )
    factor = common_size([view for pair in views for view in pair])
    return [(_sized(a, factor), _sized(b, factor)) for a, b in views]


def _sized(view: NutView, factor: float) -> NutView:
    """Take a nut's radius for larger by a factor."""
    return dataclasses.replace(
        view, matrix=view.matrix * factor, lean=view.lean / factor, away=view.away * factor
    )


def _mostly_bolts(fasteners: Sequence[Fastener]) -> bool:
    """Tell whether the joint's fasteners are bolt heads, by the scores of all finds."""
    votes = sum(f.score if f.kind == "bolt_head" else -f.score for f in fasteners)
    return votes > 0


def _plane(known: Sequence[Sequence[Fastener]], jacobian: Floats) -> Floats:
    """Settle how the plane lies in the photo before, from the tilt ellipses of both photos."""
    total = np.zeros((2, 2))
    for found, way in zip(known, (np.eye(2), np.linalg.inv(jacobian)), strict=True):
        for f in found:
            unit = _unit(way @ plane_to_image(f))
            total += f.score**2 * unit @ unit.T
    if not total.any():
        return np.eye(2)
    size, axes = np.linalg.eigh(total)
    return _unit(axes * np.sqrt(size) @ axes.T)


def _lean_field(known: Sequence[Fastener]) -> Callable[[Floats], Floats]:
    """Fit how nuts lean over the photo: alike, and outwards the more the farther from some middle.

    Returns
    -------
    callable
        From a place to the lean there, from seat to top, in nut radii of the photo.
    """
    standing = [f for f in known if f.seat is not None]
    if not standing:
        return lambda place: np.zeros(2)
    places = np.array([(f.cx, f.cy) for f in standing])
    leans = np.array(
        [((f.cx - f.seat[0]) / f.radius, (f.cy - f.seat[1]) / f.radius) for f in standing if f.seat]
    )
    weight = np.array([f.score**2 for f in standing])[:, None] / sum(f.score**2 for f in standing)
    middle, mean = (weight * places).sum(axis=0), (weight * leans).sum(axis=0)
    apart = places - middle
    growth = float((weight * apart * (leans - mean)).sum() / max(float((weight * apart**2).sum()), 1.0))
    return lambda place: mean + growth * (place - middle)


def _unit(matrix: Floats) -> Floats:
    """Scale a matrix to determinant 1."""
    scaled: Floats = matrix / math.sqrt(abs(np.linalg.det(matrix)))
    return scaled


def _turns(
    views: Sequence[tuple[NutView, NutView]], places: Sequence[Place], after: Photo
) -> tuple[NutTurn, ...]:
    turns = []
    for place, (a, b) in zip(places, views, strict=True):
        measured = measure_turn(a, b)
        least = max(LEAST_TURN, CLEAR_OF_DOUBT * measured.uncertainty)
        turned = abs(measured.degrees) > least and measured.borne_out
        needed = HARDLY_ALIKE if turned else ALIKE
        if measured.agreement < needed[0] or measured.together < needed[1]:
            continue
        x, y = after.to_full(b.centre)
        turns.append(
            NutTurn(
                cx=place.cx,
                cy=place.cy,
                radius=place.radius,
                after=(float(x), float(y)),
                turn=measured.degrees,
                uncertainty=measured.uncertainty,
                turned=turned,
            )
        )
    return tuple(turns)


def _news(laid: Registration, before: Screening, after: Screening) -> tuple[News, ...]:
    """List evidence that the later record has on fasteners that the earlier one saw without it.

    A nut in whose place the later record sees a bare stud or a hole is news as well.
    """
    news = []
    mates = {late.id: early for early, late in _mates(laid, before.fasteners, after.fasteners)}
    for candidate in after.candidates:
        mate = mates.get(candidate.fastener or 0)
        if mate is None or candidate.score < STANDS:
            continue
        if not any(c.cue == candidate.cue and c.fastener == mate.id for c in before.candidates):
            news.append(
                News(candidate.cue, candidate.id, mate.cx, mate.cy, f"not there before: {candidate.reason}")
            )
    for late_id, early in mates.items():
        late = next(f for f in after.fasteners if f.id == late_id)
        if early.kind not in NOT_IN_PLACE and late.kind in NOT_IN_PLACE:
            what = late.kind.replace("_", " ")
            news.append(News("missing_nut", None, early.cx, early.cy, f"a nut before, {what} after"))
    return tuple(news)


def _mates(
    laid: Registration, before: Sequence[Fastener], after: Sequence[Fastener]
) -> list[tuple[Fastener, Fastener]]:
    """Pair fasteners of any kind that stand in one place, the nearest first, each once."""
    apart = []
    for early in before:
        (x, y), _ = laid.to_after(early.cx, early.cy)
        radius = early.radius * laid.zoom(early.cx, early.cy)
        apart += [(math.hypot(late.cx - x, late.cy - y) / radius, early, late) for late in after]
    pairs: list[tuple[Fastener, Fastener]] = []
    for distance, early, late in sorted(apart, key=lambda entry: entry[0]):
        if distance < 1 and all(early is not e and late is not la for e, la in pairs):
            pairs.append((early, late))
    return pairs


def _size(photo: Photo) -> tuple[int, int]:
    return photo.info.width, photo.info.height
