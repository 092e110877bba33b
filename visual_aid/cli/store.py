"""Open the records that a command names."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from visual_aid.records.store import Store


def open_records(target: str) -> Store:
    """Open records that are there; click.UsageError if there are none or they cannot be opened."""
    if "://" not in target and not Path(target).expanduser().is_file():
        raise click.UsageError(f"{target}: no records there, name them with --store")
    return open_store(target)


def open_store(target: str) -> Store:
    """Open records, making them if there are none; click.UsageError if they cannot be opened."""
    # Imported here: the database takes longer to import than a photo to screen.
    from visual_aid.records import PHOTOS_VARIABLE
    from visual_aid.records.store import Store

    try:
        return Store.open(target, photos=os.environ.get(PHOTOS_VARIABLE))
    except (OSError, ValueError) as error:
        raise click.UsageError(str(error)) from error
