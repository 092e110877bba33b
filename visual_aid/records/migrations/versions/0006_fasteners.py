"""How many fasteners each screening found, which its priority allows for."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0006_fasteners"
down_revision = "0005_comparison"


def upgrade() -> None:
    """Add the column and count in the records there are."""
    op.add_column("screening", sa.Column("fasteners", sa.Integer, nullable=False, server_default="0"))
    connection = op.get_bind()
    for number, record in connection.execute(sa.text("SELECT id, record FROM screening")).all():
        connection.execute(
            sa.text("UPDATE screening SET fasteners = :fasteners WHERE id = :id"),
            {"fasteners": len(json.loads(record)["fasteners"]), "id": number},
        )


def downgrade() -> None:
    """Take the column away."""
    op.drop_column("screening", "fasteners")
