"""What the buttons do, without the page."""

from __future__ import annotations

from collections.abc import Sequence

from visual_aid.records.entries import Outcome, StoredCandidate, StoredPhoto, Visit
from visual_aid.records.store import Store


def first_open(candidates: Sequence[StoredCandidate]) -> int | None:
    """Give the candidate to look at first: the likeliest undecided one, else the first there is."""
    undecided = [c.id for c in candidates if c.outcome is None]
    return next(iter([*undecided, *(c.id for c in candidates)]), None)


def next_open(candidates: Sequence[StoredCandidate], chosen: int) -> int:
    """Give the undecided candidate after the chosen one, from the top again; itself if none is left."""
    at = next((i for i, c in enumerate(candidates) if c.id == chosen), 0)
    around = [*candidates[at + 1 :], *candidates[: at + 1]]
    return next((c.id for c in around if c.outcome is None), chosen)


def neighbour(candidates: Sequence[StoredCandidate], chosen: int, step: int) -> int:
    """Give the candidate ``step`` places further down the list, around its ends."""
    at = next((i for i, c in enumerate(candidates) if c.id == chosen), 0)
    return candidates[(at + step) % len(candidates)].id


def to_show(store: Store, photo: str, *, weak: bool) -> tuple[StoredCandidate, ...]:
    """Give what to show of a photo's candidates: all of them, or all but the weak."""
    return tuple(c for c in store.candidates(photo) if weak or not c.is_weak)


def decide(
    store: Store,
    photo: str,
    candidate: int,
    outcome: Outcome,
    *,
    by: str,
    note: str = "",
    weak: bool = False,
    holder: str = "",
    seen: int | None = None,
) -> int:
    """Record a decision and give the candidate to look at next; a weak one only if those are shown.

    ``holder``, ``seen`` and what is raised are those of ``Store.decide``.
    """
    store.decide(candidate, outcome, by=by, note=note, holder=holder, seen=seen)
    return next_open(to_show(store, photo, weak=weak), candidate)


def undo(store: Store, photo: str, *, by: str) -> int | None:
    """Take back one's last decision on a photo and give the candidate to look at: the same one.

    None if there was nothing to take back.
    """
    decision = store.undo(photo, by=by)
    if decision is None:
        return None
    left = store.candidates(photo)
    return decision.candidate if any(c.id == decision.candidate for c in left) else first_open(left)


def findings(store: Store, visit: Visit | None) -> tuple[tuple[StoredCandidate, StoredPhoto], ...]:
    """Give the findings of a visit, each with its photo; without a visit those of all photos."""
    if visit is None:
        return tuple((found, store.photo(found.photo)) for found in store.findings())
    return tuple(
        (found, photo)
        for photo in store.visits.photos(visit.id)
        for found in store.candidates(photo.id)
        if found.is_finding
    )
