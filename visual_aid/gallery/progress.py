"""How trainees do over time, where they are weak, and how the engine does on the same photos."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from visual_aid.gallery.detection import Counts, Skill, mean, skill, total
from visual_aid.gallery.quiz import Marked, counts, counts_of, cues_of, mark
from visual_aid.model import SIGNS, Screening, Sign
from visual_aid.records.teaching import Answer, Quiz, Sitting, Tap

WEAK = 1 / 3
"""Expected share of misses from which a cue is named as weak (common practice, no source)."""
ENGINE_SAYS = 0.5
"""Score from which the engine is taken to say that something is there: more likely than not."""


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one sitting.

    Attributes
    ----------
    overall : Counts
        With a photo as one trial.
    by_cue : mapping of str to Counts
        Of the cues of which there is evidence in the quiz.
    misnamed : int
        Pieces of evidence that were tapped and called something else.
    fell_for : int
        Taps on look-alikes.
    """

    overall: Counts
    by_cue: Mapping[Sign, Counts]
    misnamed: int
    fell_for: int


def marked(sitting: Sitting) -> list[Marked]:
    """Mark the answers of a sitting, in the order of the quiz."""
    answers = sorted(sitting.answers, key=lambda a: a.item)
    return [mark(sitting.quiz.items[a.item], a) for a in answers]


def result(answers: Sequence[Marked]) -> Result:
    """Sum up marked answers."""
    return Result(
        overall=counts(answers),
        by_cue={cue: counts_of(cue, answers) for cue in cues_of(m.item for m in answers)},
        misnamed=sum(f and not n for m in answers for f, n in zip(m.found, m.named, strict=True)),
        fell_for=sum(fallen is not None for m in answers for _, fallen in m.false),
    )


def summed(results: Sequence[Result]) -> Result:
    """Add up the results of one person's sittings."""
    cues = [cue for cue in SIGNS if any(cue in r.by_cue for r in results)]
    return Result(
        overall=total(r.overall for r in results),
        by_cue={cue: total(r.by_cue[cue] for r in results if cue in r.by_cue) for cue in cues},
        misnamed=sum(r.misnamed for r in results),
        fell_for=sum(r.fell_for for r in results),
    )


def group_skill(people: Iterable[Result]) -> Skill | None:
    """Give the mean skill of a group's people; those without trials of both kinds are left out."""
    return mean([found for person in people if (found := skill(person.overall)) is not None])


def need(counts: Counts) -> float:
    """Give the share of misses to expect next time: (misses + 1) / (trials + 2), Laplace's rule."""
    return (counts.misses + 1) / (counts.with_evidence + 2)


def weak_cues(by_cue: Mapping[Sign, Counts]) -> tuple[Sign, ...]:
    """Name the cues that someone misses, the worst first."""
    weak = [cue for cue, c in by_cue.items() if c.misses and need(c) > WEAK]
    return tuple(sorted(weak, key=lambda cue: -need(by_cue[cue])))


def weights(by_cue: Mapping[Sign, Counts]) -> dict[Sign, float]:
    """Give how often to ask each cue next time; a cue that was never asked is asked as if half were missed.

    The weights are four times the share of misses to expect, squared: a cue of which half is missed weighs
    1, one that is always missed nearly 4, one that is never missed nearly 0.
    """
    return {cue: 4 * need(by_cue.get(cue, Counts())) ** 2 for cue in SIGNS}


def engine_answer(number: int, screening: Screening) -> Answer:
    """Give what the engine says of a photo, as a trainee would: a tap on every likely candidate."""
    taps = []
    for c in screening.candidates:
        if c.score >= ENGINE_SAYS:
            x, y, w, h = c.box
            taps.append(Tap(x + w / 2, y + h / 2, c.cue))
    return Answer(number, tuple(taps))


def engine_marked(quiz: Quiz, screenings: Mapping[str, Screening]) -> list[Marked]:
    """Mark the engine on a quiz, by the records of its photos."""
    return [mark(one, engine_answer(i, screenings[one.photo])) for i, one in enumerate(quiz.items)]


def is_right(answer: Marked) -> bool:
    """Tell whether nothing was missed and nothing said that is not there."""
    return all(answer.found) and not answer.false


def people_ahead(engine: Sequence[Marked], people: Iterable[Sequence[Marked]]) -> tuple[int, ...]:
    """Give the numbers of the photos on which the engine errs and most people who answered do not."""
    right: dict[int, list[bool]] = {}
    for person in people:
        for answer in person:
            right.setdefault(answer.answer.item, []).append(is_right(answer))
    return tuple(
        m.answer.item
        for m in engine
        if not is_right(m) and (said := right.get(m.answer.item)) and 2 * sum(said) > len(said)
    )
