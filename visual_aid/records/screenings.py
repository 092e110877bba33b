"""Add photos and what the engine reported of them, within a transaction.

Whoever adds works out afterwards where the photos stand.
"""

from __future__ import annotations

import secrets

from sqlalchemy import Connection, insert, select

from visual_aid.evidence import look
from visual_aid.model import Candidate, Screening
from visual_aid.records import schema as t
from visual_aid.records.entries import Source
from visual_aid.records.gallery import keep_looks
from visual_aid.records.matching import match_candidates
from visual_aid.records.queries import candidate_from_json, candidate_to_json
from visual_aid.records.writing import added, now, upsert


def photo_with(connection: Connection, screening: Screening, **columns: object) -> tuple[str, bool]:
    """Find the photo of a screening by its content, or add both; give its id and whether it is new.

    ``columns`` are those of the photo that the screening does not say.
    """
    info = screening.photo
    new = (
        upsert(connection, t.photo)
        .values(
            id=secrets.token_urlsafe(16),
            sha256=info.sha256,
            name=info.name,
            width=info.width,
            height=info.height,
            taken=info.taken,
            added_at=now(),
            **columns,
        )
        .on_conflict_do_nothing(index_elements=["sha256"])
        .returning(t.photo.c.id)
    )
    photo: str | None = connection.scalar(new)
    if photo is not None:
        add_screening(connection, photo, screening)
        return photo, True
    return connection.execute(select(t.photo.c.id).where(t.photo.c.sha256 == info.sha256)).scalar_one(), False


def add_screening(connection: Connection, photo: str, screening: Screening) -> None:
    """Add a screening of a photo; what it flags again keeps its identity."""
    rows = select(t.candidate.c.id, t.candidate.c.body).where(
        t.candidate.c.photo == photo, t.candidate.c.source == "engine"
    )
    known = [(row.id, candidate_from_json(row.body)) for row in connection.execute(rows)]
    top = max(screening.candidates, key=lambda c: c.score, default=None)
    number = added(
        connection,
        t.screening,
        photo=photo,
        engine=screening.engine,
        priority=screening.priority,
        top_cue=None if top is None else top.cue,
        usable=screening.quality.usable,
        problems=len(screening.quality.problems),
        fasteners=len(screening.fasteners),
        record=screening.to_json(),
        screened_at=now(),
    )
    keep_looks(connection, photo, screening.fasteners, look.VERSION)
    same = match_candidates([c for _, c in known], screening.candidates)
    flags = []
    for c in screening.candidates:
        before = same.get(c.id)
        row = add_candidate(connection, photo, c, "engine", None) if before is None else known[before][0]
        flags.append({"screening": number, "number": c.id, "candidate": row, "score": c.score})
    if flags:
        connection.execute(insert(t.flagged), flags)


def add_candidate(connection: Connection, photo: str, body: Candidate, source: Source, by: str | None) -> int:
    """Add something flagged on a photo, by the engine or by a person, and give its number."""
    return added(
        connection,
        t.candidate,
        photo=photo,
        source=source,
        cue=body.cue,
        body=candidate_to_json(body),
        added_by=by,
        added_at=now(),
    )
