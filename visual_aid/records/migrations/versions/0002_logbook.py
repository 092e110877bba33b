"""The logbook: hand checks, worksheets, places, joints, duties and edits, each with who and when."""

import sqlalchemy as sa
from alembic import op

revision = "0002_logbook"
down_revision = "0001"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "logbook",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String, nullable=False, index=True),
        sa.Column("unit", sa.Integer, sa.ForeignKey("unit.id"), index=True),
        sa.Column("visit", sa.Integer, sa.ForeignKey("visit.id"), index=True),
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), index=True),
        sa.Column("candidate", sa.Integer, sa.ForeignKey("candidate.id"), index=True),
        sa.Column("body", sa.Text),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("supersedes", sa.Integer, sa.ForeignKey("logbook.id"), unique=True),
    )


def downgrade() -> None:
    """Take the table away."""
    op.drop_table("logbook")
