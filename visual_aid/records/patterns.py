"""Count where findings recur: by unit, by place on it, by what was found."""

from __future__ import annotations

from sqlalchemy import Connection, func, select

from visual_aid.records import schema as t
from visual_aid.records.entries import Pattern
from visual_aid.records.queries import is_last_decision


def read_patterns(connection: Connection) -> tuple[Pattern, ...]:
    """Count the findings that stand on photos whose unit is known; most findings first."""
    unit, position, cue = t.unit.c.number, t.position.c, t.candidate.c.cue
    findings = func.count()
    rows = (
        select(
            unit,
            position.axle,
            position.side,
            position.component,
            cue,
            findings.label("findings"),
            func.count(t.visit.c.id.distinct()).label("visits"),
            func.max(t.visit.c.date).label("last"),
        )
        .select_from(t.candidate)
        .join(t.decision, is_last_decision())
        .join(t.photo, t.photo.c.id == t.candidate.c.photo)
        .join(t.visit, t.visit.c.id == t.photo.c.visit)
        .join(t.unit, t.unit.c.id == t.visit.c.unit)
        .outerjoin(t.position, t.position.c.id == t.photo.c.position)
        .where(t.decision.c.outcome == "confirmed")
        .group_by(unit, position.axle, position.side, position.component, cue)
        .order_by(
            findings.desc(),
            unit,
            position.axle.is_(None),
            position.axle,
            position.side,
            position.component,
            cue,
        )
    )
    return tuple(
        Pattern(row.number, row.axle, row.side, row.component, row.cue, row.findings, row.visits, row.last)
        for row in connection.execute(rows)
    )
