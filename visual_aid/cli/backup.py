"""The work of the ``backup`` and ``restore`` commands."""

from __future__ import annotations

import os
from pathlib import Path

import click

from visual_aid.records import PHOTOS_VARIABLE
from visual_aid.records.backup import BackupError, back_up, restore


def write_backup(store: str, file: Path) -> None:
    """Back records up and say what is in the file; click.UsageError if it cannot be done."""
    try:
        made = back_up(store, file, photos=os.environ.get(PHOTOS_VARIABLE))
    except (BackupError, OSError, ValueError) as error:
        raise click.UsageError(_line(error, file)) from error
    click.echo(f"{file}: records and {made.photos} photo files, read again and sound")
    if made.elsewhere:
        click.echo(f"{made.elsewhere} photos lie outside the store and are not in it: copy their folders too")


def read_backup(file: Path, store: str, replace: bool) -> None:
    """Put a backup in place and say what became of the old records; click.UsageError if it cannot be done."""
    try:
        made = restore(file, store, replace=replace, photos=os.environ.get(PHOTOS_VARIABLE))
    except (BackupError, OSError, ValueError) as error:
        raise click.UsageError(_line(error, Path(store))) from error
    click.echo(f"{store}: records and {made.photos} photo files restored")
    if made.saved is not None:
        click.echo(f"what was there before is in {made.saved}")


def _line(error: Exception, path: Path) -> str:
    if isinstance(error, OSError):
        return f"{path} was not written ({error.strerror}): make room, or name another place"
    return str(error)
