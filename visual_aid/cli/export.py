"""The work of the ``export`` command."""

from __future__ import annotations

import itertools
from contextlib import closing
from pathlib import Path

import click

from visual_aid.cli.screen import complain, write_files
from visual_aid.cli.store import open_records
from visual_aid.gallery.quiz import item
from visual_aid.model import CUES
from visual_aid.outputs.cases import case_files
from visual_aid.outputs.publish import publishable
from visual_aid.photo import PhotoError
from visual_aid.records.entries import Filter


def write_cases(store: str, folder: Path) -> int:
    """Write every photo on which somebody decided, with what was decided as its labels.

    Returns
    -------
    int
        Exit code of the command.

    Raises
    ------
    click.UsageError
        There are no records or no decisions, or the folder holds something already.
    """
    if folder.exists() and any(folder.iterdir()):
        # Labels of an earlier export would be taken for decisions that stand.
        raise click.UsageError(f"{folder} is not empty: name a new folder")
    confirmed = ruled_out = written = 0
    failed = False
    with closing(open_records(store)) as records:
        photos = (e.photo for e in records.entries(chosen=Filter(every_shot=True)) if e.decided)
        first = next(photos, None)
        if first is None:
            raise click.UsageError(f"{store}: nothing is decided yet, so there is nothing to export")
        examples = records.gallery.examples()
        for photo in itertools.chain([first], photos):
            one = item(photo, records.candidates(photo.id), examples)
            try:
                files = case_files(written + 1, one, photo.screening, publishable(records, photo.id))
            except (OSError, PhotoError) as error:
                complain(f"{photo.name} is left out: {error}")
                failed = True
                continue
            if write_files({folder / name: data for name, data in files.items()}):
                return 1
            written += 1
            confirmed += sum(region.cue in CUES for region in one.evidence)
            ruled_out += len(one.look_alikes)
    click.echo(f"{folder}: photos {written}, evidence {confirmed}, look-alikes {ruled_out}")
    return int(failed)
