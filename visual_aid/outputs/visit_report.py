"""Put a visit's report together from the records."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from visual_aid import __version__
from visual_aid.followup.handchecks import CheckRecord
from visual_aid.followup.intervals import UnitLog, due_list
from visual_aid.followup.logged import check_record, odometer_of, sheet_words, unit_log
from visual_aid.outputs.events import OUTCOME_LABEL
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.report import Place, Remark, Report, ReportFinding, ReportPhoto
from visual_aid.outputs.wording import counted
from visual_aid.records.entries import Decision, Line, StoredCandidate, StoredPhoto, Visit
from visual_aid.records.store import Store


def visit_report(store: Store, visit: Visit, made_at: dt.datetime) -> Report:
    """Put together what was found at a visit, what was quiet and what was not judged or decided.

    A photo with a finding is also among what was not judged or decided if marks on it are still open. Nobody
    is asked about shots of a burst for which another one stands.

    Parameters
    ----------
    made_at : datetime
        When the report is made, with a time zone; what is due is worked out for that day.
    """
    findings: list[ReportFinding] = []
    quiet: list[Remark] = []
    not_judged: list[Remark] = []
    other_shots: list[Remark] = []
    reported: set[int] = set()
    others: dict[int, str] = {}  # marks that may have been checked by hand without being a finding in the end
    photos = store.visits.photos(visit.id)
    names = {photo.id: photo.name for photo in photos}
    stood_for = store.visits.stood_for(visit.id)
    for photo in photos:
        shown = _photo(store, photo)
        candidates = store.candidates(photo.id)
        reported |= {c.id for c in candidates if c.is_finding}
        others |= {c.id: _mark(photo, c) for c in candidates if not c.is_finding}
        best = names.get(stood_for.get(photo.id, ""))
        if best is not None and not any(c.decision for c in candidates):
            other_shots.append(Remark(shown, f"{best} stands for it."))
            continue
        found = [_finding(store, shown, c, c.decision) for c in candidates if c.is_finding and c.decision]
        findings += found
        doubts = " ".join(_doubts(photo, candidates))
        if doubts:
            not_judged.append(Remark(shown, doubts))
        elif not found:
            quiet.append(Remark(shown, " ".join(_quiet(photo, candidates))))
    return Report(
        unit=visit.unit,
        date=visit.date,
        odometer=odometer_of(visit),
        inspector=visit.inspector,
        findings=tuple(findings),
        quiet=tuple(quiet),
        not_judged=tuple(not_judged),
        other_shots=tuple(other_shots),
        due=due_list([log_of(store, visit.unit)], made_at.date()),
        made_at=made_at,
        engine=__version__,
        checks=tuple(
            _check(line, others)
            for line in store.logbook.lines("hand_check", visit=visit.id)
            if line.candidate not in reported
        ),
    )


def log_of(store: Store, unit: str) -> UnitLog:
    """Put together what the store knows of a unit."""
    return unit_log(unit, store.visits.all(unit), store.logbook.lines(unit=unit))


def checks_of(store: Store, candidate: int) -> tuple[CheckRecord, ...]:
    """Give the hand checks of a finding that stand."""
    return tuple(check_record(line) for line in store.logbook.lines("hand_check", candidate=candidate))


def _photo(store: Store, photo: StoredPhoto) -> ReportPhoto:
    def pixels() -> NDArray[np.uint8]:
        return store.read(photo).full

    def small() -> NDArray[np.uint8]:
        return store.read(photo).working

    place = Place() if photo.position is None else Place(*photo.position.spot)
    return ReportPhoto(photo.name, place, photo.screening.photo.taken, pixels, small)


def _finding(store: Store, photo: ReportPhoto, found: StoredCandidate, decision: Decision) -> ReportFinding:
    style = SIGN_STYLE[found.candidate.cue]
    lines = store.logbook.lines(candidate=found.id)
    follow_up = [line.body["say"] for line in lines if line.kind == "follow_up"]
    follow_up += [sheet_words(line) for line in lines if line.kind == "torque_sheet"]
    return ReportFinding(
        photo=photo,
        label=style.label,
        colour=style.colour,
        box=found.candidate.box,
        outline=found.candidate.outline,
        reason=found.candidate.reason,
        score=None if found.source == "person" else found.candidate.score,
        decision=OUTCOME_LABEL[decision.outcome],
        by=decision.by,
        at=decision.at.astimezone(),
        note=decision.note,
        checks=checks_of(store, found.id),
        follow_up="\n".join(follow_up),
    )


def _check(line: Line, marks: Mapping[int, str]) -> CheckRecord:
    record = check_record(line)
    mark = "" if line.candidate is None else marks.get(line.candidate, "")
    return dataclasses.replace(record, title=record.title + mark)


def _mark(photo: StoredPhoto, mark: StoredCandidate) -> str:
    label = SIGN_STYLE[mark.candidate.cue].label.lower()
    return f" ({label} on {photo.name}, {OUTCOME_LABEL[mark.outcome].lower()})"


def _doubts(photo: StoredPhoto, candidates: tuple[StoredCandidate, ...]) -> Iterator[str]:
    if not photo.screening.quality.usable:
        yield from (_sentence(problem.say) for problem in photo.screening.quality.problems)
    undecided = sum(c.outcome is None and not c.is_weak for c in candidates)
    if undecided:
        yield f"{counted(undecided, 'mark')} not decided yet."
    unclear = [c for c in candidates if c.outcome == "cannot_tell"]
    for c in unclear:
        note = f": {c.decision.note}" if c.decision and c.decision.note else ""
        yield f"{SIGN_STYLE[c.candidate.cue].label}: cannot tell{note}."


def _quiet(photo: StoredPhoto, candidates: tuple[StoredCandidate, ...]) -> Iterator[str]:
    ruled_out = [c for c in candidates if c.outcome == "ruled_out"]
    weak = sum(c.is_weak for c in candidates)
    yield f"{counted(len(ruled_out), 'mark')} ruled out." if ruled_out else "Nothing likely was flagged."
    if weak:
        yield f"{counted(weak, 'mark')} too weak to ask about."
    silent = dict.fromkeys(n.why for n in photo.screening.not_judged)
    if not photo.screening.fasteners:
        yield "No fastener was found on it."
    elif silent:
        labels = ", ".join(SIGN_STYLE[n.cue].label.lower() for n in photo.screening.not_judged)
        yield f"Not judged: {labels} ({'; '.join(silent)})."


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].removesuffix('.')}."
