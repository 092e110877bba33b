"""Open the records that a command names."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from visual_aid.records.store import Store


def open_store(target: str) -> Store:
    """Open records, making them if there are none; click.UsageError if they cannot be opened."""
    # Imported here: the database takes longer to import than a photo to screen.
    from visual_aid.records import PHOTOS_VARIABLE
    from visual_aid.records.store import Store

    try:
        return Store.open(target, photos=os.environ.get(PHOTOS_VARIABLE))
    except (OSError, ValueError) as error:
        raise click.UsageError(str(error)) from error
