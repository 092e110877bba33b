"""The command line: what can be asked. Each command's work is in a module that is imported when it runs.

Nothing heavy is imported here, so that ``--help`` and mistakes are answered at once.
"""

from __future__ import annotations

import socket
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Literal

import click

import visual_aid
from visual_aid.model import WEARS, Wear

EXIT_CODES = """\b
Exit codes:
  0    everything was done
  1    some files could not be screened or written; the rest was done
  2    the command was given wrongly; nothing was done
  130  stopped by Ctrl-C"""

STOPPED = 130
"""Exit code of a command that Ctrl-C stopped: 128 and the number of the signal, as shells count it."""

FILE = click.Path(dir_okay=False, path_type=Path)
FOLDER = click.Path(file_okay=False, path_type=Path)
THAT_FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)

JOBS = click.option(
    "--jobs",
    type=click.IntRange(1),
    metavar="N",
    help="Processes to screen with. Default: one a processor, fewer for few photos.",
)
PORT = click.option(
    "--port", type=click.IntRange(1, 65535), default=8501, show_default=True, help="Port of the page."
)

PAPER = click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper of a PDF.",
)

store_option = partial(
    click.option, "--store", default="visual-aid.sqlite", show_default=True, metavar="STORE"
)
"""Names the records; each command says what it does with them."""

PEOPLE = click.option(
    "--people",
    type=FILE,
    metavar="FILE",
    help="Who may sign in. Default: a file beside the records, its name ending in -people.json.",
)


class Stoppable(click.Group):
    """Commands that tell a stop by Ctrl-C from an error, wherever it reaches them."""

    def invoke(self, ctx: click.Context) -> object:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("stopped", err=True)
            raise SystemExit(STOPPED) from None


@click.group(cls=Stoppable, context_settings={"help_option_names": ["-h", "--help"]}, epilog=EXIT_CODES)
@click.version_option(visual_aid.__version__)
def main() -> None:
    """Find and measure photo evidence of loosening joints, for a person to decide on.

    A photo never proves a joint tight: everything shown is evidence to check by hand.
    """


@main.command("screen", epilog=EXIT_CODES)
@click.argument("paths", nargs=-1, required=True, metavar="PATH...", type=click.Path(path_type=Path))
@click.option(
    "--json",
    "records",
    type=click.Path(dir_okay=False, allow_dash=True, path_type=Path),
    metavar="FILE",
    help="Write one screening record a line, in the order of the photos; - is standard output.",
)
@click.option(
    "--csv", "table", type=FILE, metavar="FILE", help="Write one row a candidate for a spreadsheet."
)
@click.option(
    "--overlay", type=FOLDER, metavar="DIR", help="Write every photo with what was flagged drawn on it."
)
@click.option("--store", metavar="STORE", help="Add the photos to the records that the page works on.")
@JOBS
def screen_command(
    paths: tuple[Path, ...],
    records: Path | None,
    table: Path | None,
    overlay: Path | None,
    store: str | None,
    jobs: int | None,
) -> None:
    """Screen photos and list them by priority.

    PATH is a photo or a folder, searched with all its subfolders. A file that cannot be screened is
    reported in one line and passed over; its record with the error is still written.
    """
    from visual_aid.cli.screen import Outputs, screen_photos

    raise SystemExit(screen_photos(paths, Outputs(records, table, overlay, store), jobs))


@main.command("backlog", epilog=EXIT_CODES)
@click.argument("places", nargs=-1, required=True, metavar="PLACE...")
@store_option(help="Records to add to: an SQLite file, made if there is none, or a database URL.")
@click.option(
    "--jobs", type=click.IntRange(1), metavar="N", help="Processes to screen with. Default: one a processor."
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Screen on the Dask cluster of this scheduler, such as tcp://10.0.0.5:8786, not on this machine.",
)
def backlog_command(places: tuple[str, ...], store: str, jobs: int | None, scheduler: str | None) -> None:
    """Screen years of photos into the records of the page.

    A PLACE is a folder, searched with all its subfolders, or a URL such as s3://bucket/photos. What has been
    screened before is passed over, so the same command goes on after any stop.
    """
    if jobs and scheduler:
        raise click.UsageError("--jobs is for this machine: leave it out with --scheduler")
    from visual_aid.cli.backlog import screen_backlog

    raise SystemExit(screen_backlog(places, store, jobs, scheduler))


@main.command("compare", epilog=EXIT_CODES)
@click.argument("before", metavar="BEFORE", type=FILE)
@click.argument("after", metavar="AFTER", type=FILE)
@click.option(
    "--json", "lines", type=FILE, metavar="FILE", help="Add the comparison to a file, one JSON line each."
)
@click.option("--overlay", type=FILE, metavar="FILE", help="Write a JPEG of both photos with the turns.")
def compare_command(before: Path, after: Path, lines: Path | None, overlay: Path | None) -> None:
    """Compare two visits of one joint.

    Says how far each nut turned from the photo BEFORE to the photo AFTER, and what evidence is new. Photos
    that cannot be compared are refused with the reason.
    """
    from visual_aid.cli.compare import compare_photos

    raise SystemExit(compare_photos(before, after, lines, overlay))


@main.command("measure", epilog=EXIT_CODES)
@click.argument("kind", metavar="KIND", type=click.Choice(WEARS))
@click.argument("photo", metavar="PHOTO", type=FILE)
@click.argument("photo2", metavar="[PHOTO2]", type=FILE, required=False)
@click.option(
    "--box",
    "boxes",
    multiple=True,
    required=True,
    metavar="X,Y,W,H",
    help="Part to measure, in pixels of the upright photo; given twice where two parts are compared.",
)
@click.option(
    "--known",
    multiple=True,
    metavar="X1,Y1,X2,Y2=LENGTH",
    help="Scale without the card: two ends of a known length (24 mm, 1 in) or of a nut's flats (M16); "
    "given twice for two photos.",
)
@click.option(
    "--ruler",
    type=float,
    default=150.0,
    show_default=True,
    metavar="MM",
    help="What the card's ruler measures on the print.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the measurement as one line of JSON.")
@click.option(
    "--overlay", type=FILE, metavar="FILE", help="Write a JPEG of the photos with what was measured."
)
def measure_command(
    kind: Wear,
    photo: Path,
    photo2: Path | None,
    boxes: tuple[str, ...],
    known: tuple[str, ...],
    ruler: float,
    as_json: bool,
    overlay: Path | None,
) -> None:
    r"""Measure wear on a part that you box.

    \b
    KIND is one of movement, bushing_offset, rubber_crack, chafe, fluid_run,
    hole_elongation, leaf_shift, broken_leaf, height_difference,
    ride_height_hold, rust_grade.

    A scale card in the plane of the part gives millimetres; the card command writes it for printing. What
    cannot be measured is refused with the reason.
    """
    from visual_aid.cli.measure import measure_photos

    paths = (photo,) if photo2 is None else (photo, photo2)
    raise SystemExit(measure_photos(kind, paths, boxes, known, ruler, as_json, overlay))


@main.command("card", epilog=EXIT_CODES)
@click.argument("file", metavar="FILE", type=FILE)
@PAPER
def card_command(file: Path, paper: Literal["A4", "Letter"]) -> None:
    """Write the scale cards for printing.

    FILE becomes a PDF page with a large and a small card and a ruler that tells whether the print is true.
    """
    from visual_aid.cli.measure import write_card

    raise SystemExit(write_card(file, paper))


@main.command("app", epilog=EXIT_CODES)
@store_option(help="Records to work on: an SQLite file, made if there is none, or a database URL.")
@PORT
@click.option("--lan", is_flag=True, help="Serve other machines, too, to people who sign in with a password.")
@PEOPLE
def app_command(store: str, port: int, lan: bool, people: Path | None) -> None:
    """Serve the page for looking and deciding.

    It runs until Ctrl-C and is reached from this machine only, unless --lan opens it to others; then
    everyone signs in, on this machine as well.
    """
    if not lan:
        if people is not None:
            raise click.UsageError("--people is for --lan: add it, or leave both out")
        _serve(store, port)
        return
    from visual_aid.pages.people import check_anybody, people_file

    people = people or people_file(store)
    try:
        check_anybody(people)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    click.echo(
        f"Other machines reach this page at http://{socket.gethostname()}:{port}, or by this machine's "
        "address, and everyone has to sign in. Passwords and photos are sent unencrypted: use it on a "
        "network of your own, or behind a proxy that encrypts."
    )
    _serve(store, port, people)


@main.command("person", epilog=EXIT_CODES)
@click.argument("name", metavar="NAME")
@click.option(
    "--role",
    type=click.Choice(["reviewer", "trainer", "lead"]),
    default="reviewer",
    show_default=True,
    help="What the person may do.",
)
@store_option(help="Records to work on.")
@PEOPLE
@click.option("--remove", is_flag=True, help="Let the person sign in no more.")
def person_command(
    name: str, role: Literal["reviewer", "trainer", "lead"], store: str, people: Path | None, remove: bool
) -> None:
    """Let a person sign in to the page.

    That is asked for where the page is served with --lan. For a name that may sign in already, password and
    role are changed. The password is asked for. Those who are signed in stay so until the page is started
    again.
    """
    from visual_aid.pages.people import add_person, people_file, remove_person

    file = people or people_file(store)
    try:
        if remove:
            remove_person(file, name)
        else:
            password: str = click.prompt("Password", hide_input=True, confirmation_prompt=True)
            add_person(file, name, role, password)
    except (OSError, ValueError) as error:
        raise click.UsageError(str(error)) from error
    click.echo(f"{file}: {name} {'may sign in no more' if remove else f'may sign in as {role}'}")


@main.command("demo", epilog=EXIT_CODES)
@click.option(
    "--samples",
    type=THAT_FOLDER,
    default=Path("sample_images"),
    show_default=True,
    metavar="DIR",
    help="Photos to show.",
)
@click.option(
    "--store",
    type=FILE,
    default=Path("visual-aid-demo/demo.sqlite"),
    show_default=True,
    metavar="FILE",
    help="Records of its own; the drawn photos go into the folder overlays beside it.",
)
@PORT
@click.option(
    "--page/--no-page", default=True, help="Whether to serve the page afterwards.", show_default=True
)
@JOBS
def demo_command(samples: Path, store: Path, port: int, page: bool, jobs: int | None) -> None:
    """Show the tool on sample photos.

    Screens them as the photos of one invented visit, lists them with reasons, and serves the page on them
    until Ctrl-C.
    """
    from visual_aid.cli.demo import show_samples

    code = show_samples(samples, store, jobs)
    if page and code <= 1:
        _serve(str(store), port)
    raise SystemExit(code)


@main.command("report", epilog=EXIT_CODES)
@click.argument("unit", metavar="UNIT")
@store_option(help="Records that hold the visit: an SQLite file or a database URL.")
@click.option(
    "--date",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="Day of the visit, as 2026-05-04. Default: the last visit.",
)
@click.option(
    "--out", type=FILE, required=True, metavar="FILE", help="What to write: a file ending in .pdf or .html."
)
@PAPER
def report_command(
    unit: str, store: str, date: datetime | None, out: Path, paper: Literal["A4", "Letter"]
) -> None:
    """Write the report of a visit.

    UNIT is the unit's number. The report holds findings with pictures, decisions and hand checks, what was
    quiet, what was not judged or decided and what is due. Its pictures carry no place and no camera.
    """
    from visual_aid.cli.report import write_report

    raise SystemExit(write_report(store, unit, date.date() if date else None, out, paper))


@main.command("export", epilog=EXIT_CODES)
@click.argument("folder", metavar="FOLDER", type=FOLDER)
@store_option(help="Records that hold the decisions: an SQLite file or a database URL.")
def export_command(folder: Path, store: str) -> None:
    """Write decided photos as labelled cases.

    FOLDER, a new one, gets every photo on which somebody decided, with the decisions as its labels, for the
    evaluate command and for training. The photos carry no place and no camera.
    """
    from visual_aid.cli.export import write_cases

    raise SystemExit(write_cases(store, folder))


@main.command("backup", epilog=EXIT_CODES)
@click.argument("file", metavar="FILE", type=FILE)
@store_option(help="Records to back up: an SQLite file.")
def backup_command(file: Path, store: str) -> None:
    """Write the records and the photos kept with them into one file.

    People may be at work meanwhile. The file is read again and checked before it takes its name.
    """
    from visual_aid.cli.backup import write_backup

    write_backup(store, file)


@main.command("restore", epilog=EXIT_CODES)
@click.argument("file", metavar="FILE", type=FILE)
@store_option(help="Where the records go: an SQLite file.")
@click.option("--replace", is_flag=True, help="Put records that are there aside, into a backup of their own.")
def restore_command(file: Path, store: str, replace: bool) -> None:
    """Put a backup in its place.

    All of it is checked first: nothing changes unless it is sound. People may be at work meanwhile, and go
    on with the records of the backup.
    """
    from visual_aid.cli.backup import read_backup

    read_backup(file, store, replace)


@main.command("evaluate", epilog=EXIT_CODES)
@click.argument("truth", type=THAT_FOLDER, metavar="[TRUTH_DIR]", required=False)
@click.option(
    "--records",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Judge these records, written by screen --json, instead of screening the photos.",
)
@click.option(
    "--pairs",
    is_flag=True,
    help="Judge turns between two visits: TRUTH_DIR holds labelled pairs of photos, the records comparisons.",
)
@click.option(
    "--wear",
    is_flag=True,
    help="Judge measurements of wear: on labelled pictures in TRUTH_DIR, or, without it, on pictures made "
    "for it.",
)
@click.option(
    "--kind", "kinds", multiple=True, metavar="KIND", help="With --wear: judge this kind only; repeatable."
)
@click.option(
    "--cases",
    type=click.IntRange(1),
    metavar="N",
    help="With --wear: pictures to make of each kind. Default: 24.",
)
@click.option("--json", "figures", type=FILE, metavar="FILE", help="Write all figures.")
@click.option("--curve", type=FILE, metavar="FILE", help="Write a PNG picture of precision against recall.")
@click.option(
    "--sheet", type=FILE, metavar="FILE", help="Write a JPEG contact sheet of misses and false alarms."
)
@JOBS
def evaluate_command(
    truth: Path | None,
    records: Path | None,
    pairs: bool,
    wear: bool,
    kinds: tuple[str, ...],
    cases: int | None,
    figures: Path | None,
    curve: Path | None,
    sheet: Path | None,
    jobs: int | None,
) -> None:
    """Compare the engine with labelled photos.

    Prints what was found, missed and false, cue by cue. TRUTH_DIR holds photos, each with a JSON file of
    the same name beside it that says what is to be seen.
    """
    if wear:
        if pairs or records or curve or sheet or jobs:
            raise click.UsageError(
                "--pairs, --records, --curve, --sheet and --jobs are not for --wear: leave them out"
            )
        from visual_aid.cli.evaluate_wear import evaluate_wear

        raise SystemExit(evaluate_wear(truth, kinds, cases, figures))
    if kinds or cases:
        raise click.UsageError("--kind and --cases are for --wear: add it, or leave them out")
    if truth is None:
        raise click.UsageError("name the folder of labelled photos")
    if pairs:
        if curve or sheet or jobs:
            raise click.UsageError("--curve, --sheet and --jobs are not for --pairs: leave them out")
        from visual_aid.cli.compare import evaluate_pairs

        raise SystemExit(evaluate_pairs(truth, records, figures))
    from visual_aid.cli.evaluate import evaluate_folder

    raise SystemExit(evaluate_folder(truth, records, figures, curve, sheet, jobs))


def _serve(store: str, port: int, *people: Path) -> None:
    from visual_aid.pages.server import serve

    try:
        serve(store, port, *people)
    except (OSError, ValueError) as error:
        raise click.UsageError(str(error)) from error
    except KeyboardInterrupt:
        pass  # the way to end it
