"""Screening from the command line, as a person does it."""

import csv
import json
import os
import subprocess
import sys
from contextlib import closing

from click.testing import CliRunner

import visual_aid.cli.screen as screen
from visual_aid.cli import main
from visual_aid.cli.screen import Outputs, Task, overlay_paths, screen_photos, work_through
from visual_aid.followup.intervals import due_list
from visual_aid.model import Screening
from visual_aid.outputs.visit_report import log_of
from visual_aid.records.store import Store

ORDER = ["a-cut.jpg", "b.png", "c.jpg", "d-empty.jpg", "b.png"]
WHOLE = [1, 2, 4]


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def records(path):
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def timeless(record):
    return {key: value for key, value in record.items() if key != "seconds"}


def test_bad_files_are_passed_over_in_one_line_each_and_recorded(yard, tmp_path):
    result = run("screen", yard, "--json", tmp_path / "out" / "r.jsonl", "--jobs", 1)
    assert result.exit_code == 1
    written = records(tmp_path / "out" / "r.jsonl")
    assert [r["photo"]["name"] for r in written] == ORDER
    assert [i for i, r in enumerate(written) if r["error"] is None] == WHOLE
    lines = (tmp_path / "out" / "r.jsonl").read_text(encoding="utf-8").splitlines()
    assert [Screening.from_dict(r).to_json() for r in written] == lines
    lines = result.stderr.splitlines()
    assert len(lines) == 2
    assert lines[0].startswith(f"{yard / 'a-cut.jpg'} is cut short: ")
    assert lines[1].startswith(f"{yard / 'd-empty.jpg'} is empty: ")


def test_a_folder_that_cannot_be_listed_is_told_and_counts_as_failed(yard, unlisted, tmp_path):
    closed = unlisted(yard / "unit 7 [left]")
    (yard / "a-cut.jpg").unlink()
    (yard / "d-empty.jpg").unlink()
    result = run("screen", yard, "--jobs", 1, "--json", tmp_path / "r.jsonl")
    assert result.exit_code == 1
    (line,) = result.stderr.splitlines()
    assert line.startswith(f"{closed} cannot be searched (Permission denied)")
    assert [r["photo"]["name"] for r in records(tmp_path / "r.jsonl")] == ["b.png", "c.jpg"]


def test_the_result_is_the_same_with_any_number_of_processes(yard, tmp_path):
    for jobs in (1, 2):
        run("screen", yard, "--json", tmp_path / f"{jobs}.jsonl", "--jobs", jobs)
    one, two = ([timeless(r) for r in records(tmp_path / f"{jobs}.jsonl")] for jobs in (1, 2))
    assert one == two


def test_whole_photos_alone_end_well(yard, tmp_path):
    result = run("screen", yard / "b.png", yard / "unit 7 [left]")
    assert result.exit_code == 0
    assert str(yard / "b.png") in result.stdout.replace("\n", "").replace(" " * 10, "")
    assert result.stdout.rstrip().endswith("A photo never proves a joint tight.")


def test_standard_output_carries_records_and_nothing_else(yard):
    result = run("screen", yard, "--json", "-")
    assert [json.loads(line)["photo"]["name"] for line in result.stdout.splitlines()] == ORDER
    assert "Priority" in result.stderr


def test_a_missing_file_is_a_bad_file(yard, tmp_path):
    result = run("screen", yard / "b.png", yard / "gone.jpg", "--json", tmp_path / "r.jsonl")
    assert result.exit_code == 1
    assert [r["error"] and r["error"]["code"] for r in records(tmp_path / "r.jsonl")] == [None, "missing"]


def test_a_file_name_that_is_no_text_costs_nothing(yard, tmp_path):
    odd = os.fsencode(yard) + b"/\xff[red]\n.png"
    with open(odd, "wb") as file:
        file.write((yard / "b.png").read_bytes())
    with open(odd + b"bad.jpg", "wb") as file:
        file.write(b"no photo")
    result = run(
        "screen",
        yard,
        "--json",
        tmp_path / "r.jsonl",
        "--csv",
        tmp_path / "r.csv",
        "--overlay",
        tmp_path / "o",
    )
    assert result.exit_code == 1
    assert len(records(tmp_path / "r.jsonl")) == len(ORDER) + 2
    assert len(result.stderr.splitlines()) == 3


def test_a_photo_on_which_the_engine_fails_costs_no_other(yard, tmp_path, monkeypatch):
    def screen_file(path):
        if path.name == "c.jpg":
            raise ZeroDivisionError("no nuts to divide by")
        return engine(path)

    engine = screen.screen_file
    monkeypatch.setattr(screen, "screen_file", screen_file)
    result = run("screen", yard, "--json", tmp_path / "r.jsonl", "--jobs", 1)
    assert result.exit_code == 1
    codes = [r["error"] and r["error"]["code"] for r in records(tmp_path / "r.jsonl")]
    assert codes == ["truncated", None, "engine_failed", "empty", None]
    assert "no nuts to divide by" in result.stderr


def test_a_photo_that_ends_the_decoder_costs_no_other(yard, tmp_path, troublemaker):
    (yard / "c.jpg").rename(yard / "fatal.heic")
    result = run("screen", yard / "fatal.heic", yard / "b.png", "--json", tmp_path / "r.jsonl", "--jobs", 1)
    assert result.exit_code == 1
    codes = [r["error"] and r["error"]["code"] for r in records(tmp_path / "r.jsonl")]
    assert codes == ["process_died", None]
    assert result.stderr.startswith(f"{yard / 'fatal.heic'} ended the process that decodes photos: ")


def test_a_folder_without_photos_is_a_wrong_command(tmp_path):
    result = run("screen", tmp_path)
    assert result.exit_code == 2
    assert "no photos in" in result.output


def test_a_place_that_cannot_be_written_is_found_before_the_work(yard, tmp_path):
    (tmp_path / "file").touch()
    result = run("screen", yard, "--json", tmp_path / "file" / "r.jsonl")
    assert result.exit_code == 2
    assert "name another folder" in result.output


def test_a_file_that_cannot_be_written_costs_no_other(tmp_path, capsys):
    (tmp_path / "r.jsonl").mkdir()
    assert screen.write_files({tmp_path / "r.jsonl": b"one", tmp_path / "r.csv": b"two"})
    assert (tmp_path / "r.csv").read_bytes() == b"two"
    assert "r.jsonl was not written" in capsys.readouterr().err


def test_every_screened_photo_is_drawn_and_never_screened_again(yard):
    for _ in range(2):
        result = run("screen", yard, "--overlay", yard / "drawn")
        assert result.exit_code == 1
    assert sorted(os.listdir(yard / "drawn")) == ["b_drawn.jpg", "b_drawn_2.jpg", "c_drawn.jpg"]


def test_drawn_photos_have_names_of_their_own(tmp_path):
    photos = [tmp_path / name for name in ("a/x.jpg", "a/X.png", "b/x.jpg", "y.jpg")]
    names = [path.name for path in overlay_paths(photos, tmp_path)]
    assert names == ["x_drawn.jpg", "X_drawn_2.jpg", "x_drawn_3.jpg", "y_drawn.jpg"]


def test_an_overlay_that_cannot_be_written_costs_no_record(yard, tmp_path):
    (tmp_path / "file").touch()
    done, _ = work_through([Task(yard / "b.png", tmp_path / "file" / "b.jpg"), Task(yard / "c.jpg", None)], 1)
    assert [d.screening.error for d in done] == [None, None]
    assert "was screened, but not drawn" in done[0].complaint
    assert done[1].complaint == ""


def test_a_spreadsheet_has_a_row_a_candidate(yard, tmp_path):
    run("screen", yard, "--json", tmp_path / "r.jsonl", "--csv", tmp_path / "r.csv")
    with (tmp_path / "r.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == sum(len(r["candidates"]) for r in records(tmp_path / "r.jsonl"))


def test_screened_photos_go_into_the_store(yard, tmp_path):
    store = tmp_path / "yard.sqlite"
    for _ in range(2):
        assert run("screen", yard, "--store", store).exit_code == 1
    with closing(Store.open(store)) as opened:
        assert sorted(entry.photo.name for entry in opened.worklist()) == ["b.png", "b.png", "c.jpg"]


def test_the_demo_screens_lists_and_draws_the_samples(yard, nut_photo, tmp_path):
    nut_photo(yard / "wear" / "worn.png", 4)
    store = tmp_path / "demo" / "demo.sqlite"
    result = run("demo", "--samples", yard, "--store", store, "--no-page")
    assert result.exit_code == 1
    assert len(os.listdir(tmp_path / "demo" / "overlays")) == 3
    assert str(tmp_path / "demo" / "overlays") in result.stdout
    assert f"Pictures of worn parts, to try visual-aid measure on, are in {yard / 'wear'}" in result.stdout
    with closing(Store.open(store)) as opened:
        assert len(opened.worklist()) == 3


def test_the_demo_is_one_visit_with_places_and_what_is_due_and_nothing_decided(yard, nut_photo, tmp_path):
    nut_photo(yard / "yard07_unit1_axle2_left_trackbar_bracket_moved.png", 4)
    nut_photo(yard / "yard07_unit2_frame_right_crossmember.png", 5)
    store = tmp_path / "demo.sqlite"
    for _ in range(2):
        run("demo", "--samples", yard, "--store", store, "--no-page")
    with closing(Store.open(store)) as opened:
        (visit,) = opened.visits.all()
        assert "demo" in visit.unit
        assert "demo" in visit.inspector
        photos = opened.visits.photos(visit.id)
        assert len(photos) == 5
        assert {p.position.spot for p in photos if p.position} == {
            (2, "left", "trackbar bracket"),
            (2, "right", "frame crossmember"),
        }
        due = due_list([log_of(opened, visit.unit)], visit.date)
        assert [(d.duty, d.overdue) for d in due if d.days_left is None or abs(d.days_left) < 14] == [
            ("yearly_retorque", True),
            ("break_in_retorque", False),
            ("walkaround", False),
            ("shop_inspection", False),
        ]
        assert {event.kind for event in opened.logbook.events()} == {"duty_done", "joint"}
        assert {event.by for event in opened.logbook.events()} == {visit.inspector}
        assert opened.last_signature() == ""


def test_the_demo_serves_the_page_on_its_own_records(yard, tmp_path, monkeypatch):
    served = []
    monkeypatch.setattr("visual_aid.pages.server.serve", lambda store, port: served.append(store))
    run("demo", "--samples", yard, "--store", tmp_path / "demo.sqlite")
    assert served == [str(tmp_path / "demo.sqlite")]


def test_a_stopped_run_keeps_what_is_done_and_replaces_nothing(yard, tmp_path, monkeypatch):
    whole = tmp_path / "r.jsonl"
    whole.write_text("an earlier run\n")

    def stopped_after_two(work, tasks, jobs, lost):
        yield from map(work, tasks[:2])
        raise KeyboardInterrupt

    monkeypatch.setattr("visual_aid.cli.screen.in_order", stopped_after_two)
    assert screen_photos([yard], Outputs(records=whole), 1) == 130
    assert whole.read_text() == "an earlier run\n"
    assert [r["photo"]["name"] for r in records(tmp_path / "r.jsonl.part")] == ORDER[:2]


def test_ctrl_c_ends_the_program_with_its_own_exit_code(yard):
    program = (
        "import signal\n"
        "from visual_aid.cli import main\n"
        "from visual_aid.cli import screen\n"
        "def interrupted(work, tasks, jobs, lost):\n"
        "    yield work(tasks[0])\n"
        "    signal.raise_signal(signal.SIGINT)\n"
        "    yield work(tasks[1])\n"
        "screen.in_order = interrupted\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, "screen", str(yard)], capture_output=True, text=True
    )
    assert done.returncode == 130
    assert "stopped: 1 of 5 photos are done" in done.stderr
