"""Draw the photos of a quiz, and mark what a trainee answered."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from visual_aid.gallery.detection import Counts
from visual_aid.model import SIGNS, Box, Sign
from visual_aid.records.entries import StoredCandidate, StoredPhoto
from visual_aid.records.teaching import Answer, Example, Item, Region, Tap, Wording

WITHOUT_EVIDENCE = 0.5
"""Share of photos on which there is nothing to find: d' is surest when both kinds of trials are as many."""
REACH = 0.03
"""How far off a tap still counts, in lengths of the photo's longer side: a fingertip of 9 mm on a phone
that shows the photo at 15 cm (common practice, no source)."""


def item(photo: StoredPhoto, candidates: Sequence[StoredCandidate], examples: Iterable[Example]) -> Item:
    """Say what is on a photo: all that people settled, whether or not it is in the gallery.

    Parameters
    ----------
    candidates : sequence of StoredCandidate
        All of the photo's.
    examples : iterable of Example
        Those of the gallery; the words of the photo's own are told once an answer is in.
    """
    words = {e.number: e.wording for e in examples if e.photo == photo.id and e.number is not None}

    def regions(outcome: str) -> tuple[Region, ...]:
        return tuple(_region(c, words.get(c.id)) for c in candidates if c.outcome == outcome)

    return Item(
        photo=photo.id,
        width=photo.screening.photo.width,
        height=photo.screening.photo.height,
        evidence=regions("confirmed"),
        look_alikes=regions("ruled_out"),
        unsettled=tuple(
            c.candidate.box
            for c in candidates
            if c.outcome == "cannot_tell" or (c.outcome is None and not c.is_weak)
        ),
    )


def _region(stored: StoredCandidate, wording: Wording | None) -> Region:
    body = stored.candidate
    return Region(
        cue=body.cue,
        box=body.box,
        outline=body.outline,
        say=body.reason if wording is None else wording.caption,
        grade=None if wording is None else wording.grade,
        source=stored.source,
        fastener=body.fastener,
    )


def draw(
    pool: Iterable[Item],
    seed: int,
    count: int,
    *,
    weights: Mapping[Sign, float] | None = None,
    without: float = WITHOUT_EVIDENCE,
) -> tuple[Item, ...]:
    """Draw the photos of a quiz; the same pool, seed and weights give the same quiz.

    Parameters
    ----------
    pool : iterable of Item
        What can be asked.
    count : int
        Photos to draw; fewer where the pool has fewer.
    weights : mapping of str to float, optional
        How often a cue is asked, 1 where nothing is said. A photo weighs as much as its heaviest cue, be it
        evidence or a look-alike: whoever misses a cue has to learn what it is not, too.
    without : float
        Share of photos without evidence, as far as the pool reaches.
    """
    chance = random.Random(seed)
    ranked = []
    for one in sorted(pool, key=lambda i: i.photo):
        cues = {region.cue for region in (*one.evidence, *one.look_alikes)}
        weight = max(((weights or {}).get(cue, 1.0) for cue in cues), default=1.0)
        # The largest of u^(1/w) are a weighted sample without replacement (Efraimidis and Spirakis, 2006).
        ranked.append((chance.random() ** (1 / max(weight, 1e-9)), one))
    ranked.sort(key=lambda pair: -pair[0])
    found = [one for _, one in ranked if one.evidence]
    nothing = [one for _, one in ranked if not one.evidence]
    least = max(0, min(len(nothing), round(count * without)))
    drawn = found[: count - least]
    drawn += nothing[: count - len(drawn)]
    return tuple(
        one for _, one in sorted(((chance.random(), one) for one in drawn), key=lambda pair: pair[0])
    )


def reach(region: Box, photo: Item) -> Box:
    """Give the box within which a tap belongs to a region."""
    margin = REACH * max(photo.width, photo.height)
    x, y, w, h = region
    return x - margin, y - margin, w + 2 * margin, h + 2 * margin


@dataclass(frozen=True, slots=True)
class Marked:
    """One answer beside what is on the photo.

    Attributes
    ----------
    found, named : tuple of bool
        For each piece of evidence: whether a tap lies on it, and whether one there says its cue.
    false : tuple of (Tap, Region or None)
        Taps on nothing, each with the look-alike that it fell for.
    """

    item: Item
    answer: Answer
    found: tuple[bool, ...]
    named: tuple[bool, ...]
    false: tuple[tuple[Tap, Region | None], ...]


def mark(photo: Item, answer: Answer) -> Marked:
    """Mark one answer.

    A tap belongs to the evidence within whose reach it lies; of several, to one of the cue it says, then to
    the smallest. Where it lies on none, it counts as false, unless nobody has settled what is there.
    """
    found, named = [False] * len(photo.evidence), [False] * len(photo.evidence)
    false: list[tuple[Tap, Region | None]] = []
    for tap in answer.taps:
        under = [i for i, region in enumerate(photo.evidence) if _inside(tap, reach(region.box, photo))]
        if under:
            best = min(under, key=lambda i: (photo.evidence[i].cue != tap.cue, _area(photo.evidence[i].box)))
            found[best] = True
            named[best] |= photo.evidence[best].cue == tap.cue
        elif not any(_inside(tap, reach(box, photo)) for box in photo.unsettled):
            fallen = [r for r in photo.look_alikes if _inside(tap, reach(r.box, photo))]
            fallen.sort(key=lambda r: (r.cue != tap.cue, _area(r.box)))
            false.append((tap, fallen[0] if fallen else None))
    return Marked(photo, answer, tuple(found), tuple(named), tuple(false))


def counts(marked: Iterable[Marked]) -> Counts:
    """Count trials, a photo being one: with evidence, a hit is a tap on any of it, whatever cue it says.

    Without evidence, any tap that counts is a false alarm.
    """
    return _counts((bool(m.found), any(m.found), bool(m.false)) for m in marked)


def counts_of(cue: Sign, marked: Iterable[Marked]) -> Counts:
    """Count trials for one cue, a photo being one.

    With evidence of the cue, a hit is a tap on it that says so. Without, a tap that says this cue is a false
    alarm: on nothing, on a look-alike or on evidence of another cue.
    """
    trials = []
    for m in marked:
        named = [named for region, named in zip(m.item.evidence, m.named, strict=True) if region.cue == cue]
        said = any(tap.cue == cue for tap in m.answer.taps if not _void(tap, m.item))
        trials.append((bool(named), any(named), said))
    return _counts(trials)


def cues_of(items: Iterable[Item]) -> tuple[Sign, ...]:
    """List the cues of which there is evidence."""
    asked = {region.cue for one in items for region in one.evidence}
    return tuple(cue for cue in SIGNS if cue in asked)


def _void(tap: Tap, photo: Item) -> bool:
    """Tell whether a tap counts neither way: on what nobody has settled, and on no evidence."""
    on = [region.box for region in photo.evidence]
    return not any(_inside(tap, reach(box, photo)) for box in on) and any(
        _inside(tap, reach(box, photo)) for box in photo.unsettled
    )


def _counts(trials: Iterable[tuple[bool, bool, bool]]) -> Counts:
    """Count trials given as (with evidence, hit, false alarm)."""
    tally = Counts()
    for evidence, hit, false in trials:
        tally += Counts(
            evidence and hit, evidence and not hit, not evidence and false, not evidence and not false
        )
    return tally


def _inside(tap: Tap, box: Box) -> bool:
    x, y, w, h = box
    return x <= tap.x <= x + w and y <= tap.y <= y + h


def _area(box: Box) -> float:
    return box[2] * box[3]
