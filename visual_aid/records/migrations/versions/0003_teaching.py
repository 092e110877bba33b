"""Tables for teaching: looks, blurred boxes, examples, lessons, quizzes and their answers."""

import sqlalchemy as sa
from alembic import op

revision = "0003_teaching"
down_revision = "0002_logbook"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "look",
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), primary_key=True),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("places", sa.LargeBinary, nullable=False),
        sa.Column("vectors", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "blur",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), nullable=False, index=True),
        sa.Column("boxes", sa.Text, nullable=False),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "example",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("photo", sa.String, sa.ForeignKey("photo.id"), nullable=False, index=True),
        sa.Column("candidate", sa.Integer, sa.ForeignKey("candidate.id"), unique=True),
    )
    op.create_table(
        "wording",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("example", sa.Integer, sa.ForeignKey("example.id"), nullable=False),
        sa.Column("grade", sa.String, nullable=False),
        sa.Column("caption", sa.Text, nullable=False),
        sa.Column("hand_check", sa.Text, nullable=False),
        sa.Column("tags", sa.Text, nullable=False),
        sa.Column("kept", sa.Boolean, nullable=False),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("grade IN ('faint', 'moderate', 'obvious')", name="grade"),
    )
    op.create_index(None, "wording", ["example", "id"])
    op.create_table("lesson", sa.Column("id", sa.Integer, primary_key=True))
    op.create_table(
        "edition",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("lesson", sa.Integer, sa.ForeignKey("lesson.id"), nullable=False),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("opening", sa.Text, nullable=False),
        sa.Column("steps", sa.Text, nullable=False),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index(None, "edition", ["lesson", "id"])
    op.create_table(
        "quiz",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("token", sa.String, nullable=False, unique=True),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("seed", sa.Integer, nullable=False),
        sa.Column("items", sa.Text, nullable=False),
        sa.Column("by", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "sitting",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("token", sa.String, nullable=False, unique=True),
        sa.Column("quiz", sa.Integer, sa.ForeignKey("quiz.id"), nullable=False, index=True),
        sa.Column("trainee", sa.String, nullable=False, index=True),
        sa.Column("crew", sa.String, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_table(
        "answer",
        sa.Column("sitting", sa.Integer, sa.ForeignKey("sitting.id"), primary_key=True),
        sa.Column("item", sa.Integer, primary_key=True),
        sa.Column("taps", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )


def downgrade() -> None:
    """Take the tables away."""
    for name in ("answer", "sitting", "quiz", "edition", "lesson", "wording", "example", "blur", "look"):
        op.drop_table(name)
