"""Backlog and worklist: files seen, bursts, where each photo stands, leases, thresholds and calibrations."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0004_backlog"
down_revision = "0003_teaching"


def upgrade() -> None:
    """Make the tables; where each photo stands is worked out when the store is opened."""
    op.add_column("photo", sa.Column("size", sa.BigInteger))
    op.create_index(None, "photo", ["size"])
    op.add_column("photo", sa.Column("likeness", sa.String))
    op.add_column("screening", sa.Column("problems", sa.Integer, nullable=False, server_default="0"))
    op.add_column("decision", sa.Column("bulk", sa.String))
    op.create_index(None, "decision", ["bulk"])
    op.create_table(
        "source",
        sa.Column("url", sa.String, primary_key=True),
        sa.Column("stamp", sa.String, nullable=False),
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), index=True),
        sa.Column("trouble", sa.Text),
    )
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String, nullable=False, unique=True),
        sa.Column("slope", sa.Float, nullable=False),
        sa.Column("intercept", sa.Float, nullable=False),
        sa.Column("decided", sa.Integer, nullable=False),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("slope > 0", name="slope"),
    )
    op.create_table(
        "tuning",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("threshold", sa.Float, nullable=False),
        sa.Column("calibration", sa.Integer, sa.ForeignKey("calibration.id")),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "standing",
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), primary_key=True),
        sa.Column("screening", sa.Integer, sa.ForeignKey("screening.id"), nullable=False),
        sa.Column("stage", sa.String, nullable=False),
        sa.Column("priority", sa.Float, nullable=False),
        sa.Column("quality", sa.String, nullable=False),
        sa.Column("cues", sa.String, nullable=False),
        sa.Column("undecided", sa.Integer, nullable=False),
        sa.Column("weak", sa.Integer, nullable=False),
        sa.Column("decided", sa.Integer, nullable=False),
        sa.Column("findings", sa.Integer, nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("best", sa.String, sa.ForeignKey("photo.id"), index=True),
    )
    op.create_index(None, "standing", ["stage", "priority", "added_at", "photo"])
    op.create_table(
        "lease",
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), primary_key=True),
        sa.Column("holder", sa.String, nullable=False),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
    )
    connection = op.get_bind()
    for number, record in connection.execute(sa.text("SELECT id, record FROM screening")).all():
        problems = len(json.loads(record)["quality"]["problems"])
        connection.execute(
            sa.text("UPDATE screening SET problems = :problems WHERE id = :id"),
            {"problems": problems, "id": number},
        )


def downgrade() -> None:
    """Take the tables and columns away."""
    for name in ("lease", "standing", "tuning", "calibration", "source"):
        op.drop_table(name)
    op.drop_index("ix_decision_bulk", "decision")
    op.drop_column("decision", "bulk")
    op.drop_column("screening", "problems")
    op.drop_column("photo", "likeness")
    op.drop_index("ix_photo_size", "photo")
    op.drop_column("photo", "size")
