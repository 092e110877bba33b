"""The store of photos, screenings and decisions. What it has acknowledged is on the disk."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from sqlalchemy import Engine, select

from visual_aid.model import Box, Candidate, Outline, Screening, Sign
from visual_aid.photo import Photo, Pixels
from visual_aid.records import decisions, queries, worklist
from visual_aid.records import schema as t
from visual_aid.records.backlog import Backlog, where
from visual_aid.records.comparisons import Comparisons
from visual_aid.records.connect import connect, locate
from visual_aid.records.entries import (
    EVERYTHING,
    OUTCOMES,
    Bulk,
    Decision,
    Filter,
    Outcome,
    Pattern,
    Position,
    Stage,
    StoredCandidate,
    StoredPhoto,
    Visit,
    WorklistEntry,
)
from visual_aid.records.gallery import Gallery
from visual_aid.records.leases import Leases
from visual_aid.records.logbook import Logbook
from visual_aid.records.patterns import read_patterns
from visual_aid.records.photofolder import PhotoFolder, photo_folder
from visual_aid.records.quizzes import Quizzes
from visual_aid.records.screenings import add_candidate, add_screening, photo_with
from visual_aid.records.standing import stand
from visual_aid.records.tunings import Tunings
from visual_aid.records.visits import Visits
from visual_aid.records.writing import named, reading, writing

READ_AT_A_TIME = 500
"""Photos that ``Store.entries`` holds at a time."""


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
    gallery : Gallery
        Examples kept for teaching, and what they look like.
    quizzes : Quizzes
        Quizzes drawn from the gallery, and the answers of trainees.
    backlog : Backlog
        Photo files that runs of a backlog have seen.
    comparisons : Comparisons
        Photos of one place at two visits, laid on each other.
    leases : Leases
        Who is at work on which photo.
    tunings : Tunings
        The working threshold, and scores put right by people's decisions.
    """

    def __init__(self, engine: Engine, photos: Path) -> None:
        self._engine = engine
        self._photos = PhotoFolder(photos)
        self.visits = Visits(engine)
        self.logbook = Logbook(engine)
        self.gallery = Gallery(engine)
        self.quizzes = Quizzes(engine)
        self.backlog = Backlog(engine)
        self.comparisons = Comparisons(engine)
        self.leases = Leases(engine)
        self.tunings = Tunings(engine)

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
        folder = photo_folder(url, photos)
        return cls(connect(url), folder)

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
        likeness: str = "",
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
        likeness : str, optional
            The perceptual hash by which shots of one burst are found.

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
        path = self._photos.keep(data) if data is not None else where(info.path)
        with writing(self._engine) as connection:
            photo, new = photo_with(
                connection,
                screening,
                path=path,
                size=None if data is None else len(data),
                visit=None if visit is None else visit.id,
                position=None if position is None else position.id,
                likeness=likeness or None,
            )
            if new:
                stand(connection, [photo])
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
            add_screening(connection, photo, screening)
            stand(connection, [photo])
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
        """Give the path of the original photo file, one that lies on this machine."""
        return self._photos.root / photo.path

    def read(self, photo: StoredPhoto) -> Photo:
        """Read the pixels of a photo; raises as ``upright``."""
        return self._photos.read(photo.path, photo.screening.photo)

    def upright(self, photo: StoredPhoto) -> bytes:
        """Give the photo as a JPEG whose pixels, read without turning, are those of the record.

        Raises
        ------
        FileNotFoundError
            The file is gone, or has changed since it was screened.
        PhotoError
            The file can no longer be decoded.
        """
        return self._photos.upright(photo.path, photo.screening.photo.sha256)

    def thumb(self, photo: StoredPhoto, pixels: Pixels | None = None) -> bytes:
        """Give the photo as a small upright JPEG, from its pixels where they are at hand.

        Raises as ``upright``.
        """
        return self._photos.thumb(photo.path, photo.screening.photo.sha256, pixels)

    def copy(self, name: str, make: Callable[[], bytes]) -> bytes:
        """Give a file made for showing by its name; it is made if there is none yet."""
        return self._photos.copy(name, make)

    # Worklist

    def worklist(
        self,
        stage: Stage | None = None,
        chosen: Filter = EVERYTHING,
        *,
        limit: int | None = None,
        offset: int = 0,
    ) -> tuple[WorklistEntry, ...]:
        """List photos in the order in which a person should look at them: by priority, highest first."""
        with reading(self._engine) as connection:
            return worklist.read_worklist(connection, stage, chosen, limit, offset)

    def entries(self, stage: Stage | None = None, chosen: Filter = EVERYTHING) -> Iterator[WorklistEntry]:
        """List photos as ``worklist`` does, however many: only some of them are held at a time."""
        offset = 0
        while some := self.worklist(stage, chosen, limit=READ_AT_A_TIME, offset=offset):
            yield from some
            offset += len(some)

    def holds_photos(self) -> bool:
        """Tell whether there is any photo at all, without counting them."""
        with reading(self._engine) as connection:
            return worklist.holds_photos(connection)

    def stages(self, chosen: Filter = EVERYTHING) -> dict[Stage, int]:
        """Count the photos at each stage; stages without a photo are left out."""
        with reading(self._engine) as connection:
            return worklist.count_stages(connection, chosen)

    def places(self) -> tuple[tuple[int, ...], tuple[str, ...]]:
        """Give the axles and the components that a ``Filter`` can choose from."""
        with reading(self._engine) as connection:
            return worklist.read_places(connection)

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

    def decide(
        self,
        candidate: int,
        outcome: Outcome,
        *,
        by: str,
        note: str = "",
        holder: str = "",
        seen: int | None = None,
    ) -> Decision:
        """Record what a person says of a candidate; it supersedes what was said before.

        Parameters
        ----------
        candidate : int
            The store's id, ``StoredCandidate.id``.
        by : str
            Who says so.
        holder : str, optional
            Who takes photos by ``leases``; with it, a photo that somebody else has is not decided on.
        seen : int, optional
            Id of the decision that stood when the person looked, 0 for none; with it, a decision that was
            made since is not superseded unseen.

        Raises
        ------
        KeyError
            No candidate of that id.
        ValueError
            Another outcome than the three, or nobody's name.
        OvertakenError
            Somebody else has the photo, or has decided meanwhile. Nothing was recorded.
        """
        if outcome not in OUTCOMES:
            raise ValueError(f"a decision is one of {', '.join(OUTCOMES)}, not {outcome!r}")
        with writing(self._engine) as connection:
            decisions.unless_overtaken(connection, candidate, holder, named(by), seen)
            return decisions.decide(connection, candidate, outcome, named(by), note)

    def rule_out(self, photos: Sequence[str], *, by: str, note: str = "", holder: str = "") -> Bulk:
        """Rule out everything on these photos that waits for a decision, the weak left out, all at once.

        Photos that somebody else than ``holder`` has are left alone.

        Raises
        ------
        KeyError
            No photo of such an id.
        ValueError
            Nobody's name.
        """
        with writing(self._engine) as connection:
            return decisions.rule_out(connection, photos, holder, named(by), note)

    def undo_bulk(self, bulk: str, *, by: str) -> int:
        """Take back a ``rule_out`` wherever nobody has decided since, and give the number taken back.

        As with ``undo`` nothing is erased.
        """
        with writing(self._engine) as connection:
            return decisions.undo_bulk(connection, bulk, named(by))

    def mark(
        self,
        photo: str,
        cue: Sign,
        box: Box,
        *,
        by: str,
        outline: Outline = (),
        note: str = "",
        reason: str = "",
        measures: Mapping[str, float] = MappingProxyType({}),
    ) -> StoredCandidate:
        """Add what a person sees and the engine missed: a finding at once.

        Parameters
        ----------
        box : tuple of float
            Left, top, width, height in pixels of the full upright photo.
        outline : tuple of (x, y), optional
            A closer outline than the box.
        reason : str, optional
            What speaks for it, in words; the note where nothing else does.
        measures : mapping, optional
            What was measured on it, by name.

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
        body = Candidate(
            id=0,
            cue=cue,
            fastener=None,
            box=box,
            outline=outline,
            score=1.0,
            measures=dict(measures),
            reason=reason or note,
        )
        with writing(self._engine) as connection:
            stored = queries.read_photo(connection, photo)
            number = add_candidate(connection, photo, body, "person", by)
            decisions.decide(connection, number, "confirmed", by, note)
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
            return decisions.decide(connection, last.candidate, before, by, "", undoes=last.id)

    def history(self, candidate: int) -> tuple[Decision, ...]:
        """List every decision ever made on a candidate, oldest first."""
        with reading(self._engine) as connection:
            return tuple(queries.read_decisions(connection, candidate=candidate))

    def patterns(self) -> tuple[Pattern, ...]:
        """Count where findings recur, most findings first."""
        with reading(self._engine) as connection:
            return read_patterns(connection)

    def last_signature(self) -> str:
        """Give the name under which the last decision was made; empty before the first."""
        with reading(self._engine) as connection:
            return connection.scalar(select(t.decision.c.by).order_by(t.decision.c.id.desc()).limit(1)) or ""
