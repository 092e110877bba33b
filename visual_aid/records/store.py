"""The store of photos, screenings and decisions. What it has acknowledged is on the disk."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Connection, Engine, func, insert, select

from visual_aid.evidence import look
from visual_aid.model import Box, Candidate, Outline, Screening, Sign
from visual_aid.photo import Photo
from visual_aid.records import queries
from visual_aid.records import schema as t
from visual_aid.records.connect import connect, locate
from visual_aid.records.entries import (
    OUTCOMES,
    Decision,
    Outcome,
    Position,
    Source,
    Stage,
    StoredCandidate,
    StoredPhoto,
    Visit,
    WorklistEntry,
)
from visual_aid.records.gallery import Gallery, keep_looks
from visual_aid.records.logbook import Logbook
from visual_aid.records.matching import match_candidates
from visual_aid.records.photofolder import PhotoFolder
from visual_aid.records.quizzes import Quizzes
from visual_aid.records.visits import Visits
from visual_aid.records.writing import added, named, now, reading, writing


class Store:
    """Photos, screenings and decisions in one database, with the photo files in a folder beside it.

    Every method that writes returns after its transaction is on the disk. Decisions and screenings are
    only ever added.

    Attributes
    ----------
    visits : Visits
        Visits of units, and where on a unit photos were taken.
    logbook : Logbook
        What people write down beside their decisions.
    """

    def __init__(self, engine: Engine, photos: Path) -> None:
        self._engine = engine
        self._photos = PhotoFolder(photos)
        self.visits = Visits(engine)
        self.logbook = Logbook(engine)
        self.gallery = Gallery(engine)
        self.quizzes = Quizzes(engine)

    @classmethod
    def open(cls, target: str | Path, *, photos: str | Path | None = None) -> Store:
        """Open a store, making it if there is none, and bring its tables up to date.

        Parameters
        ----------
        target : str or path
            An SQLite file (``yard.sqlite``), or a database URL such as ``postgresql+psycopg://...``.
        photos : path, optional
            Folder of the photo files. Beside an SQLite file it is ``<name>-photos`` by default; a
            database server has no such place, so there it must be named.

        Raises
        ------
        ValueError
            A server's URL without ``photos``; no records can be opened there; a newer version wrote them.
        OSError
            The folder cannot be made.
        """
        url = locate(target)
        if photos is None:
            if url.get_backend_name() != "sqlite" or not url.database:
                raise ValueError("records on a database server need a folder for the photo files: name one")
            photos = Path(url.database).with_name(f"{Path(url.database).stem}-photos")
        return cls(connect(url), Path(photos).expanduser().resolve())

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    # Photos

    def add_photo(
        self,
        screening: Screening,
        *,
        data: bytes | None = None,
        visit: Visit | None = None,
        position: Position | None = None,
    ) -> StoredPhoto:
        """Add a screened photo, or hand back the one that is there with the same content.

        Parameters
        ----------
        screening : Screening
            The engine's record of the photo, without ``error``.
        data : bytes, optional
            The photo file, copied into the store. Without it the store refers to
            ``screening.photo.path``, which has to stay where it is: for backlogs.
        visit, position : optional
            What the photo belongs to.

        Raises
        ------
        ValueError
            The screening failed; or there is neither ``data`` nor a path to refer to.
        """
        info = screening.photo
        if screening.error is not None:
            raise ValueError(f"{info.name} was not screened: {screening.error.say}")
        if data is None and not info.path:
            raise ValueError(f"{info.name}: needs the photo's bytes or its path")
        path = self._photos.keep(data) if data is not None else str(Path(info.path).resolve())
        with writing(self._engine) as connection:
            photo = connection.scalar(select(t.photo.c.id).where(t.photo.c.sha256 == info.sha256))
            if photo is None:
                photo = secrets.token_urlsafe(16)
                connection.execute(
                    insert(t.photo).values(
                        id=photo,
                        sha256=info.sha256,
                        name=info.name,
                        path=path,
                        width=info.width,
                        height=info.height,
                        taken=info.taken,
                        visit=None if visit is None else visit.id,
                        position=None if position is None else position.id,
                        added_at=now(),
                    )
                )
                _add_screening(connection, photo, screening)
            return queries.read_photo(connection, photo)

    def add_screening(self, photo: str, screening: Screening) -> StoredPhoto:
        """Add a later screening of a stored photo; the earlier ones are kept.

        A candidate that flags the same thing as one before (``match_candidates``) keeps its identity
        and with it the decision that stands.

        Raises
        ------
        KeyError
            No photo of that id.
        ValueError
            The screening failed, or it is one of another photo.
        """
        with writing(self._engine) as connection:
            stored = queries.read_photo(connection, photo)
            if screening.error is not None:
                raise ValueError(f"{stored.name} was not screened: {screening.error.say}")
            if screening.photo.sha256 != stored.screening.photo.sha256:
                raise ValueError(f"{stored.name}: the screening is one of another photo")
            _add_screening(connection, photo, screening)
            return queries.read_photo(connection, photo)

    def photo(self, photo: str) -> StoredPhoto:
        """Look a photo up by its unguessable id.

        Raises
        ------
        KeyError
            No photo of that id.
        """
        with reading(self._engine) as connection:
            return queries.read_photo(connection, photo)

    def has(self, sha256: str) -> bool:
        """Tell whether a photo of that content is in the store."""
        with reading(self._engine) as connection:
            return connection.scalar(select(t.photo.c.id).where(t.photo.c.sha256 == sha256)) is not None

    def file(self, photo: StoredPhoto) -> Path:
        """Give the path of the original photo file."""
        return self._photos.root / photo.path

    def read(self, photo: StoredPhoto) -> Photo:
        """Read the pixels of a photo; raises as ``upright``."""
        return self._photos.read(self.file(photo), photo.screening.photo)

    def upright(self, photo: StoredPhoto) -> bytes:
        """Give the photo as a JPEG whose pixels, read without turning, are those of the record.

        Raises
        ------
        FileNotFoundError
            The file is gone, or has changed since it was screened.
        PhotoError
            The file can no longer be decoded.
        """
        return self._photos.upright(self.file(photo), photo.screening.photo.sha256)

    def thumb(self, photo: StoredPhoto) -> bytes:
        """Give the photo as a small upright JPEG; raises as ``upright``."""
        return self._photos.thumb(self.file(photo), photo.screening.photo.sha256)

    def copy(self, name: str, make: Callable[[], bytes]) -> bytes:
        """Give a file made for showing by its name; it is made if there is none yet."""
        return self._photos.copy(name, make)

    def worklist(
        self, stage: Stage | None = None, *, limit: int | None = None, offset: int = 0
    ) -> tuple[WorklistEntry, ...]:
        """List photos in the order in which a person should look at them: by priority, highest first."""
        with reading(self._engine) as connection:
            return queries.read_worklist(connection, stage, limit, offset)

    def stages(self) -> dict[Stage, int]:
        """Count the photos at each stage; stages without a photo are left out."""
        with reading(self._engine) as connection:
            return queries.count_stages(connection)

    def next_to_decide(self, photo: str) -> str | None:
        """Give the photo to decide on after this one, in the worklist's order and from its top again.

        None if no other photo waits.
        """
        with reading(self._engine) as connection:
            return queries.next_to_decide(connection, photo)

    # Candidates and decisions

    def candidates(self, photo: str) -> tuple[StoredCandidate, ...]:
        """List what is flagged on a photo, likeliest first, then what people marked.

        Left out are candidates of earlier screenings on which nobody decided, and marks taken back.

        Raises
        ------
        KeyError
            No photo of that id.
        """
        with reading(self._engine) as connection:
            return queries.read_candidates(connection, queries.read_photo(connection, photo))

    def candidate(self, candidate: int) -> StoredCandidate:
        """Look up something flagged, by the store's id.

        Raises
        ------
        KeyError
            None of that id stands: there never was one, or it is a mark that was taken back.
        """
        with reading(self._engine) as connection:
            photo = connection.scalar(select(t.candidate.c.photo).where(t.candidate.c.id == candidate))
            flagged = queries.read_candidates(connection, queries.read_photo(connection, photo or ""))
        try:
            return next(c for c in flagged if c.id == candidate)
        except StopIteration:
            raise KeyError(candidate) from None

    def findings(self) -> tuple[StoredCandidate, ...]:
        """List every confirmed candidate and every mark that stands, photo by photo."""
        with reading(self._engine) as connection:
            photos = [queries.read_photo(connection, p) for p in queries.photos_with_findings(connection)]
            return tuple(c for p in photos for c in queries.read_candidates(connection, p) if c.is_finding)

    def decide(self, candidate: int, outcome: Outcome, *, by: str, note: str = "") -> Decision:
        """Record what a person says of a candidate; it supersedes what was said before.

        Parameters
        ----------
        candidate : int
            The store's id, ``StoredCandidate.id``.
        by : str
            Who says so.

        Raises
        ------
        KeyError
            No candidate of that id.
        ValueError
            Another outcome than the three, or nobody's name.
        """
        if outcome not in OUTCOMES:
            raise ValueError(f"a decision is one of {', '.join(OUTCOMES)}, not {outcome!r}")
        with writing(self._engine) as connection:
            return _decide(connection, candidate, outcome, named(by), note)

    def mark(
        self, photo: str, cue: Sign, box: Box, *, by: str, outline: Outline = (), note: str = ""
    ) -> StoredCandidate:
        """Add what a person sees and the engine missed: a finding at once.

        Parameters
        ----------
        box : tuple of float
            Left, top, width, height in pixels of the full upright photo.
        outline : tuple of (x, y), optional
            A closer outline than the box.

        Raises
        ------
        KeyError
            No photo of that id.
        ValueError
            Nobody's name, or a box without area.
        """
        x, y, w, h = box
        if not (w > 0 and h > 0):
            raise ValueError("a mark needs a box with a width and a height")
        by = named(by)
        outline = outline or ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
        body = Candidate(id=0, cue=cue, fastener=None, box=box, outline=outline, score=1.0, reason=note)
        with writing(self._engine) as connection:
            stored = queries.read_photo(connection, photo)
            number = _add_candidate(connection, photo, body, "person", by)
            _decide(connection, number, "confirmed", by, note)
            return next(c for c in queries.read_candidates(connection, stored) if c.id == number)

    def undo(self, photo: str, *, by: str) -> Decision | None:
        """Take back the last decision that this person made on a photo and that still stands.

        The undo is a record of its own: what stood before stands again, and nothing is erased. Undoing
        again goes one further back.

        Returns
        -------
        Decision or None
            The record that now stands; None if there was nothing to take back.
        """
        by = named(by)
        with writing(self._engine) as connection:
            made = {d.id: d for d in queries.read_decisions(connection, photo=photo)}
            undone = {d.undoes for d in made.values()}
            standing = {d.candidate: d for d in made.values() if d.undoes is None and d.id not in undone}
            mine = [d for d in standing.values() if d.by == by]
            if not mine:
                return None
            last = max(mine, key=lambda d: d.id)
            before = None if last.supersedes is None else made[last.supersedes].outcome
            return _decide(connection, last.candidate, before, by, "", undoes=last.id)

    def history(self, candidate: int) -> tuple[Decision, ...]:
        """List every decision ever made on a candidate, oldest first."""
        with reading(self._engine) as connection:
            return tuple(queries.read_decisions(connection, candidate=candidate))

    def last_signature(self) -> str:
        """Give the name under which the last decision was made; empty before the first."""
        with reading(self._engine) as connection:
            return connection.scalar(select(t.decision.c.by).order_by(t.decision.c.id.desc()).limit(1)) or ""


def _add_screening(connection: Connection, photo: str, screening: Screening) -> None:
    rows = select(t.candidate.c.id, t.candidate.c.body).where(
        t.candidate.c.photo == photo, t.candidate.c.source == "engine"
    )
    known = [(row.id, queries.candidate_from_json(row.body)) for row in connection.execute(rows)]
    top = max(screening.candidates, key=lambda c: c.score, default=None)
    number = added(
        connection,
        t.screening,
        photo=photo,
        engine=screening.engine,
        priority=screening.priority,
        top_cue=None if top is None else top.cue,
        usable=screening.quality.usable,
        record=screening.to_json(),
        screened_at=now(),
    )
    keep_looks(connection, photo, screening.fasteners, look.VERSION)
    same = match_candidates([c for _, c in known], screening.candidates)
    for c in screening.candidates:
        before = same.get(c.id)
        row = _add_candidate(connection, photo, c, "engine", None) if before is None else known[before][0]
        connection.execute(
            insert(t.flagged).values(screening=number, number=c.id, candidate=row, score=c.score)
        )


def _add_candidate(
    connection: Connection, photo: str, body: Candidate, source: Source, by: str | None
) -> int:
    return added(
        connection,
        t.candidate,
        photo=photo,
        source=source,
        cue=body.cue,
        body=queries.candidate_to_json(body),
        added_by=by,
        added_at=now(),
    )


def _decide(
    connection: Connection,
    candidate: int,
    outcome: Outcome | None,
    by: str,
    note: str,
    undoes: int | None = None,
) -> Decision:
    # The lock keeps two people from superseding the same decision; SQLite has one writer anyway.
    locked = select(t.candidate.c.id).where(t.candidate.c.id == candidate).with_for_update()
    if connection.scalar(locked) is None:
        raise KeyError(candidate)
    values = {
        "candidate": candidate,
        "outcome": outcome,
        "by": by,
        "note": note,
        "at": now(),
        "supersedes": connection.scalar(
            select(func.max(t.decision.c.id)).where(t.decision.c.candidate == candidate)
        ),
        "undoes": undoes,
    }
    return queries.to_decision({"id": added(connection, t.decision, **values), **values})
