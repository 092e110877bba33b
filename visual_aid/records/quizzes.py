"""The records of quizzes and of what trainees answered. An answer is given once and kept."""

from __future__ import annotations

import dataclasses
import json
import secrets
from collections.abc import Iterable, Sequence
from functools import partial

from sqlalchemy import ColumnElement, Connection, Engine, insert, select, true

from visual_aid.records import queries
from visual_aid.records import schema as t
from visual_aid.records.teaching import Answer, Item, Quiz, Sitting, item_from_dict, tap_from_dict
from visual_aid.records.writing import added, named, now, reading, writing

ALL = true()


class Quizzes:
    """Quizzes, sittings and answers."""

    def __init__(self, engine: Engine) -> None:
        self._reading = partial(reading, engine)
        self._writing = partial(writing, engine)

    def add(self, title: str, seed: int, items: Sequence[Item], *, by: str) -> Quiz:
        """Keep a quiz as drawn.

        Raises
        ------
        ValueError
            No title, no photos, or nobody's name.
        """
        title = title.strip()
        if not title or not items:
            raise ValueError("a quiz needs a title and at least one photo")
        with self._writing() as connection:
            number = added(
                connection,
                t.quiz,
                token=secrets.token_urlsafe(16),
                title=title,
                seed=seed,
                items=json.dumps([dataclasses.asdict(item) for item in items], ensure_ascii=False),
                by=named(by),
                at=now(),
            )
            return _quizzes(connection, t.quiz.c.id == number)[0]

    def quizzes(self) -> tuple[Quiz, ...]:
        """List the quizzes, the last one first."""
        with self._reading() as connection:
            return tuple(reversed(_quizzes(connection)))

    def quiz(self, token: str) -> Quiz:
        """Look a quiz up by its token; KeyError if there is none."""
        with self._reading() as connection:
            found = _quizzes(connection, t.quiz.c.token == token)
        if not found:
            raise KeyError(token)
        return found[0]

    def begin(self, quiz: Quiz, trainee: str, group: str = "", *, token: str = "") -> Sitting:
        """Begin a sitting, or hand back the one of that token as far as it got.

        Raises
        ------
        ValueError
            No trainee, or the token is that of a sitting of another quiz.
        """
        trainee = named(trainee)
        with self._writing() as connection:
            token = token or secrets.token_urlsafe(16)
            before = connection.execute(select(t.sitting).where(t.sitting.c.token == token)).first()
            if before is None:
                values = {"quiz": quiz.id, "trainee": trainee, "crew": group.strip(), "at": now()}
                added(connection, t.sitting, token=token, **values)
            elif before.quiz != quiz.id:
                raise ValueError("these answers belong to another quiz")
            return _sittings(connection, t.sitting.c.token == token)[0]

    def answer(self, sitting: Sitting, answers: Iterable[Answer]) -> Sitting:
        """Keep answers; one given before stays as it is.

        Raises
        ------
        ValueError
            An answer to a photo that the quiz does not have.
        """
        with self._writing() as connection:
            known = connection.scalars(select(t.answer.c.item).where(t.answer.c.sitting == sitting.id))
            given = set(known)
            for answer in answers:
                if not 0 <= answer.item < len(sitting.quiz.items):
                    raise ValueError(f"the quiz has no photo {answer.item + 1}")
                if answer.item not in given:
                    given.add(answer.item)
                    taps = json.dumps([dataclasses.asdict(tap) for tap in answer.taps])
                    connection.execute(
                        insert(t.answer).values(sitting=sitting.id, item=answer.item, taps=taps, at=now())
                    )
            return _sittings(connection, t.sitting.c.id == sitting.id)[0]

    def sitting(self, token: str) -> Sitting | None:
        """Look a sitting up by its token; None if there is none."""
        with self._reading() as connection:
            return next(iter(_sittings(connection, t.sitting.c.token == token)), None)

    def sittings(self) -> tuple[Sitting, ...]:
        """List every sitting with its answers, oldest first."""
        with self._reading() as connection:
            return tuple(_sittings(connection))


def _quizzes(connection: Connection, which: ColumnElement[bool] = ALL) -> list[Quiz]:
    """Read the quizzes for which a condition holds, or all, oldest first."""
    rows = select(t.quiz).where(which).order_by(t.quiz.c.id)
    return [
        Quiz(
            id=row["id"],
            token=row["token"],
            title=row["title"],
            seed=row["seed"],
            items=tuple(item_from_dict(item) for item in json.loads(row["items"])),
            by=row["by"],
            at=queries.aware(row["at"]),
        )
        for row in connection.execute(rows).mappings()
    ]


def _sittings(connection: Connection, which: ColumnElement[bool] = ALL) -> list[Sitting]:
    """Read the sittings for which a condition holds, or all, each with its quiz and answers, oldest first."""
    chosen = select(t.sitting).where(which).order_by(t.sitting.c.id)
    rows = connection.execute(chosen).mappings().all()
    some = chosen.subquery()
    quizzes = {q.id: q for q in _quizzes(connection, t.quiz.c.id.in_(select(some.c.quiz)))}
    answers: dict[int, list[Answer]] = {}
    given = select(t.answer).where(t.answer.c.sitting.in_(select(some.c.id)))
    for row in connection.execute(given.order_by(t.answer.c.at, t.answer.c.item)):
        taps = tuple(tap_from_dict(tap) for tap in json.loads(row.taps))
        answers.setdefault(row.sitting, []).append(Answer(row.item, taps))
    return [
        Sitting(
            id=row["id"],
            token=row["token"],
            quiz=quizzes[row["quiz"]],
            trainee=row["trainee"],
            group=row["crew"],
            answers=tuple(answers.get(row["id"], ())),
            at=queries.aware(row["at"]),
        )
        for row in rows
    ]
