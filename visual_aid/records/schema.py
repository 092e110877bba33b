"""The tables. What a person said and what the engine reported are only ever added to."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    DateTime,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

unit = Table(
    "unit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("number", String, nullable=False, unique=True),
)

visit = Table(
    "visit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("unit", ForeignKey("unit.id"), nullable=False),
    Column("date", Date, nullable=False),
    Column("odometer", Float),
    Column("odometer_unit", String),
    Column("inspector", String, nullable=False),
    CheckConstraint("odometer_unit IN ('km', 'mi')", name="odometer_unit"),
    Index(None, "unit", "date"),
)

position = Table(
    "position",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("unit", ForeignKey("unit.id"), nullable=False),
    Column("axle", Integer, nullable=False),
    Column("side", String, nullable=False),
    Column("component", String, nullable=False),
    CheckConstraint("side IN ('left', 'right', 'centre')", name="side"),
    UniqueConstraint("unit", "axle", "side", "component"),
)

photo = Table(
    "photo",
    metadata,
    Column("id", String, primary_key=True),
    Column("sha256", String, nullable=False, unique=True),
    Column("name", String, nullable=False),
    Column("path", String, nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("taken", String),
    Column("visit", ForeignKey("visit.id"), index=True),
    Column("position", ForeignKey("position.id"), index=True),
    Column("added_at", DateTime(timezone=True), nullable=False),
    Column("size", BigInteger, index=True),
    Column("likeness", String),
)

screening = Table(
    "screening",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photo", ForeignKey("photo.id"), nullable=False, index=True),
    Column("engine", String, nullable=False, index=True),
    Column("priority", Float, nullable=False, index=True),
    Column("top_cue", String, index=True),
    Column("usable", Boolean, nullable=False),
    Column("problems", Integer, nullable=False, server_default="0"),
    Column("fasteners", Integer, nullable=False, server_default="0"),
    Column("record", Text, nullable=False),
    Column("screened_at", DateTime(timezone=True), nullable=False),
)

# One row for each thing on a photo, whoever saw it first. A later screening that flags the same thing
# again points at the row there is, so that what a person said of it stays with it.
candidate = Table(
    "candidate",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photo", ForeignKey("photo.id"), nullable=False, index=True),
    Column("source", String, nullable=False),
    Column("cue", String, nullable=False, index=True),
    Column("body", Text, nullable=False),
    Column("added_by", String),
    Column("added_at", DateTime(timezone=True), nullable=False),
    CheckConstraint("source IN ('engine', 'person')", name="source"),
)

flagged = Table(
    "flagged",
    metadata,
    Column("screening", ForeignKey("screening.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("candidate", ForeignKey("candidate.id"), nullable=False, index=True),
    Column("score", Float, nullable=False),
)

# Two photos of one place laid on each other; the last one of a pair stands. ``changed`` is what they show
# together, flagged on the photo after: ``flagged`` for a pair instead of one photo.
comparison = Table(
    "comparison",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("before", ForeignKey("photo.id"), nullable=False),
    Column("after", ForeignKey("photo.id"), nullable=False),
    Column("engine", String, nullable=False),
    Column("record", Text, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
    Index(None, "after", "before"),
)

changed = Table(
    "changed",
    metadata,
    Column("comparison", ForeignKey("comparison.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("candidate", ForeignKey("candidate.id"), nullable=False, index=True),
    Column("score", Float, nullable=False),
    Column("body", Text, nullable=False),
)

# ``outcome`` is empty where the last decision on a candidate was taken back.
decision = Table(
    "decision",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("candidate", ForeignKey("candidate.id"), nullable=False),
    Column("outcome", String),
    Column("by", String, nullable=False),
    Column("note", Text, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
    Column("supersedes", ForeignKey("decision.id"), unique=True),
    Column("undoes", ForeignKey("decision.id"), unique=True),
    Column("bulk", String, index=True),
    CheckConstraint("outcome IN ('confirmed', 'ruled_out', 'cannot_tell')", name="outcome"),
    Index(None, "candidate", "id"),
)

# What people write down beside their decisions, one line each, ``body`` as JSON. A line that ``supersedes``
# another takes its place, one without a body takes it back. Where ``visit`` and ``photo`` above hold what
# stands now, the line holds what stood before.
logbook = Table(
    "logbook",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String, nullable=False, index=True),
    Column("unit", ForeignKey("unit.id"), index=True),
    Column("visit", ForeignKey("visit.id"), index=True),
    Column("photo", ForeignKey("photo.id"), index=True),
    Column("candidate", ForeignKey("candidate.id"), index=True),
    Column("body", Text),
    Column("by", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
    Column("supersedes", ForeignKey("logbook.id"), unique=True),
)

# What the surroundings of a photo's fasteners look like, in the order of its last screening. Nobody said
# this and it can be made again, so it is replaced.
look = Table(
    "look",
    metadata,
    Column("photo", ForeignKey("photo.id"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("places", LargeBinary, nullable=False),
    Column("vectors", LargeBinary, nullable=False),
)

# Boxes that are blurred wherever a photo leaves the tool; the last row of a photo stands.
blur = Table(
    "blur",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photo", ForeignKey("photo.id"), nullable=False, index=True),
    Column("boxes", Text, nullable=False),
    Column("by", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
)

# An example without a candidate is a whole photo on which nothing is wrong.
example = Table(
    "example",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("photo", ForeignKey("photo.id"), nullable=False, index=True),
    Column("candidate", ForeignKey("candidate.id"), unique=True),
)

# What is said of an example; the last row stands.
wording = Table(
    "wording",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("example", ForeignKey("example.id"), nullable=False),
    Column("grade", String, nullable=False),
    Column("caption", Text, nullable=False),
    Column("hand_check", Text, nullable=False),
    Column("tags", Text, nullable=False),
    Column("kept", Boolean, nullable=False),
    Column("by", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
    CheckConstraint("grade IN ('faint', 'moderate', 'obvious')", name="grade"),
    Index(None, "example", "id"),
)

lesson = Table("lesson", metadata, Column("id", Integer, primary_key=True))

# A lesson as it was saved; the last row stands.
edition = Table(
    "edition",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("lesson", ForeignKey("lesson.id"), nullable=False),
    Column("title", String, nullable=False),
    Column("opening", Text, nullable=False),
    Column("steps", Text, nullable=False),
    Column("by", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
    Index(None, "lesson", "id"),
)

quiz = Table(
    "quiz",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("token", String, nullable=False, unique=True),
    Column("title", String, nullable=False),
    Column("seed", Integer, nullable=False),
    Column("items", Text, nullable=False),
    Column("by", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
)

sitting = Table(
    "sitting",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("token", String, nullable=False, unique=True),
    Column("quiz", ForeignKey("quiz.id"), nullable=False, index=True),
    Column("trainee", String, nullable=False, index=True),
    Column("crew", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
)

answer = Table(
    "answer",
    metadata,
    Column("sitting", ForeignKey("sitting.id"), primary_key=True),
    Column("item", Integer, primary_key=True),
    Column("taps", Text, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
)

# What was last seen of each file of a backlog: ``stamp`` changes with the file, ``trouble`` is why it could
# not be screened.
source = Table(
    "source",
    metadata,
    Column("url", String, primary_key=True),
    Column("stamp", String, nullable=False),
    Column("photo", ForeignKey("photo.id"), index=True),
    Column("trouble", Text),
)

# Scores put right by the shop's own decisions, and which threshold and calibration were in use since when:
# the last row of ``tuning`` stands.
calibration = Table(
    "calibration",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String, nullable=False, unique=True),
    Column("slope", Float, nullable=False),
    Column("intercept", Float, nullable=False),
    Column("decided", Integer, nullable=False),
    Column("by", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
    CheckConstraint("slope > 0", name="slope"),
)

tuning = Table(
    "tuning",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("threshold", Float, nullable=False),
    Column("calibration", ForeignKey("calibration.id")),
    Column("by", String, nullable=False),
    Column("at", DateTime(timezone=True), nullable=False),
)

# Where each photo stands: worked out from the tables above whenever they change, so that a worklist of
# any length opens at once. Nothing is lost if it is emptied and worked out anew.
standing = Table(
    "standing",
    metadata,
    Column("photo", ForeignKey("photo.id"), primary_key=True),
    Column("screening", ForeignKey("screening.id"), nullable=False),
    Column("stage", String, nullable=False),
    Column("priority", Float, nullable=False),
    Column("quality", String, nullable=False),
    Column("cues", String, nullable=False),
    Column("undecided", Integer, nullable=False),
    Column("weak", Integer, nullable=False),
    Column("decided", Integer, nullable=False),
    Column("findings", Integer, nullable=False),
    Column("added_at", DateTime(timezone=True), nullable=False),
    Column("best", ForeignKey("photo.id")),
    Index(None, "stage", "priority", "added_at", "photo"),
    Index(None, "best"),
)

# Who works on a photo right now: others are given another one until the lease runs out.
lease = Table(
    "lease",
    metadata,
    Column("photo", ForeignKey("photo.id"), primary_key=True),
    Column("holder", String, nullable=False),
    Column("by", String, nullable=False),
    Column("until", DateTime(timezone=True), nullable=False),
)
