"""First tables: units, visits, positions, photos, screenings, candidates, decisions."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "unit",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("number", sa.String, nullable=False, unique=True),
    )
    op.create_table(
        "visit",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("unit", sa.Integer, sa.ForeignKey("unit.id"), nullable=False),
        sa.Column("date", sa.Date, nullable=False),
        sa.Column("odometer", sa.Float),
        sa.Column("odometer_unit", sa.String),
        sa.Column("inspector", sa.String, nullable=False),
        sa.CheckConstraint("odometer_unit IN ('km', 'mi')", name="odometer_unit"),
    )
    op.create_index(None, "visit", ["unit", "date"])
    op.create_table(
        "position",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("unit", sa.Integer, sa.ForeignKey("unit.id"), nullable=False),
        sa.Column("axle", sa.Integer, nullable=False),
        sa.Column("side", sa.String, nullable=False),
        sa.Column("component", sa.String, nullable=False),
        sa.CheckConstraint("side IN ('left', 'right', 'centre')", name="side"),
        sa.UniqueConstraint("unit", "axle", "side", "component"),
    )
    op.create_table(
        "photo",
        sa.Column("id", sa.String, primary_key=True),
        sa.Column("sha256", sa.String, nullable=False, unique=True),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("path", sa.String, nullable=False),
        sa.Column("width", sa.Integer, nullable=False),
        sa.Column("height", sa.Integer, nullable=False),
        sa.Column("taken", sa.String),
        sa.Column("visit", sa.Integer, sa.ForeignKey("visit.id"), index=True),
        sa.Column("position", sa.Integer, sa.ForeignKey("position.id"), index=True),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "screening",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), nullable=False, index=True),
        sa.Column("engine", sa.String, nullable=False, index=True),
        sa.Column("priority", sa.Float, nullable=False, index=True),
        sa.Column("top_cue", sa.String, index=True),
        sa.Column("usable", sa.Boolean, nullable=False),
        sa.Column("record", sa.Text, nullable=False),
        sa.Column("screened_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "candidate",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), nullable=False, index=True),
        sa.Column("source", sa.String, nullable=False),
        sa.Column("cue", sa.String, nullable=False, index=True),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("added_by", sa.String),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("source IN ('engine', 'person')", name="source"),
    )
    op.create_table(
        "flagged",
        sa.Column("screening", sa.Integer, sa.ForeignKey("screening.id"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("candidate", sa.Integer, sa.ForeignKey("candidate.id"), nullable=False, index=True),
        sa.Column("score", sa.Float, nullable=False),
    )
    op.create_table(
        "decision",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("candidate", sa.Integer, sa.ForeignKey("candidate.id"), nullable=False),
        sa.Column("outcome", sa.String),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("supersedes", sa.Integer, sa.ForeignKey("decision.id"), unique=True),
        sa.Column("undoes", sa.Integer, sa.ForeignKey("decision.id"), unique=True),
        sa.CheckConstraint("outcome IN ('confirmed', 'ruled_out', 'cannot_tell')", name="outcome"),
    )
    op.create_index(None, "decision", ["candidate", "id"])


def downgrade() -> None:
    """Take the tables away."""
    for table in ("decision", "flagged", "candidate", "screening", "photo", "position", "visit", "unit"):
        op.drop_table(table)
