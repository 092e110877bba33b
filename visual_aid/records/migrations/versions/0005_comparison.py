"""Tables for comparisons of two photos, and what each pair shows."""

import sqlalchemy as sa
from alembic import op

revision = "0005_comparison"
down_revision = "0004_backlog"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "comparison",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("before", sa.String, sa.ForeignKey("photo.id"), nullable=False),
        sa.Column("after", sa.String, sa.ForeignKey("photo.id"), nullable=False),
        sa.Column("engine", sa.String, nullable=False),
        sa.Column("record", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index(None, "comparison", ["after", "before"])
    op.create_table(
        "changed",
        sa.Column("comparison", sa.Integer, sa.ForeignKey("comparison.id"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("candidate", sa.Integer, sa.ForeignKey("candidate.id"), nullable=False, index=True),
        sa.Column("score", sa.Float, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )


def downgrade() -> None:
    """Take the tables away."""
    for name in ("changed", "comparison"):
        op.drop_table(name)
