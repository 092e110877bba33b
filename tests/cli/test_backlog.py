"""The backlog from the command line: stopped at any moment, the records end as if it had not been."""

import json
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, suppress

import pytest
from click.testing import CliRunner
from distributed import LocalCluster

from visual_aid.cli import backlog, main
from visual_aid.records.backlog import Backlog
from visual_aid.records.store import Store

COPIES = 10


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def start(*arguments):
    """Start the command in a process group of its own, with transactions of two photos."""
    script = (
        "import visual_aid.cli.backlog as backlog; from visual_aid.cli import main;"
        " backlog.KEPT_AT_A_TIME = 2; main()"
    )
    command = [sys.executable, "-c", script, *map(str, arguments)]
    return subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )


@pytest.fixture
def many(yard):
    """A folder of photos, no two of the same content, with two damaged ones and one that is there twice."""
    for n in range(COPIES):
        for name in ("b.png", "c.jpg"):
            copy = yard / f"walk {n % 3}" / f"{n}-{name}"
            copy.parent.mkdir(exist_ok=True)
            # Bytes behind the end of the image change the file and not the picture.
            copy.write_bytes((yard / name).read_bytes() + bytes([n]))
    shutil.copy(yard / "b.png", yard / "walk 0" / "copy of b.png")
    return yard


def contents(store):
    """Everything in a store but random ids and moments, in an order of its own."""
    with closing(sqlite3.connect(store)) as database:
        rows = database.execute(
            "SELECT p.sha256, s.record, st.stage, st.priority, st.undecided, st.weak, st.cues, p.likeness,"
            " (SELECT count(*) FROM candidate c WHERE c.photo = p.id),"
            " (SELECT count(*) FROM flagged f WHERE f.screening = s.id)"
            " FROM photo p JOIN screening s ON s.photo = p.id JOIN standing st ON st.photo = p.id"
        ).fetchall()
        files = database.execute(
            "SELECT source.url, source.stamp, source.trouble, photo.sha256"
            " FROM source LEFT JOIN photo ON photo.id = source.photo ORDER BY source.url"
        ).fetchall()
    return sorted((row[0], timeless(row[1]), *row[2:]) for row in rows), files


def timeless(record):
    """A record without what may differ: the time taken, and which of two equal files was seen first."""
    record = json.loads(record)
    record.pop("seconds")
    record["photo"] = {key: record["photo"][key] for key in ("sha256", "width", "height", "taken")}
    return json.dumps(record, sort_keys=True)


def test_what_is_screened_is_passed_over_the_next_time(many, tmp_path):
    first = run("backlog", many, "--store", tmp_path / "yard.sqlite", "--jobs", 2)
    assert first.exit_code == 1
    assert first.stdout.splitlines()[-1] == "23 screened, 1 known before, 2 failed"
    assert sorted(line.split(" is ")[0] for line in first.stderr.splitlines()) == [
        str(many / "a-cut.jpg"),
        str(many / "d-empty.jpg"),
    ]
    again = run("backlog", many, "--store", tmp_path / "yard.sqlite", "--jobs", 2)
    assert again.stdout.splitlines()[-1] == "0 screened, 24 known before, 2 failed"
    with closing(Store.open(tmp_path / "yard.sqlite")) as store:
        assert len(store.worklist()) == 23
        assert len(store.backlog.troubles()) == 2


def test_what_to_look_at_first_is_told_by_the_calibration_in_use(yard, tmp_path):
    run("backlog", yard, "--store", tmp_path / "yard.sqlite", "--jobs", 1)
    with closing(Store.open(tmp_path / "yard.sqlite")) as store:
        raw = [e.priority for e in store.worklist("to_decide")]
        store.tunings.keep("our yard", 1.0, -0.5, 40, by="J. Doe")
        store.tunings.use("our yard", by="J. Doe")
        tuned = [e.priority for e in store.worklist("to_decide")]
    assert raw
    assert tuned
    assert [f"{p:.2f}" for p in tuned] != [f"{p:.2f}" for p in raw[: len(tuned)]]
    again = run("backlog", yard, "--store", tmp_path / "yard.sqlite", "--jobs", 1)
    told = [line.split()[0] for line in again.stdout.splitlines() if re.match(r" +[01]\.\d\d ", line)]
    assert told == [f"{p:.2f}" for p in tuned]


def test_a_moved_folder_is_known_by_its_content(many, tmp_path):
    run("backlog", many, "--store", tmp_path / "yard.sqlite")
    moved = many.rename(tmp_path / "elsewhere")
    again = run("backlog", f"file://{moved}", "--store", tmp_path / "yard.sqlite")
    assert again.stdout.splitlines()[-1] == "0 screened, 24 known before, 2 failed"
    with closing(Store.open(tmp_path / "yard.sqlite")) as store:
        assert all(store.upright(entry.photo) for entry in store.worklist())


@pytest.mark.parametrize("place", ["{}", "file://{}"])
def test_what_is_no_file_is_refused_and_not_waited_for(yard, no_files, tmp_path, place):
    shutil.copy(yard / "b.png", no_files)
    result = run("backlog", place.format(no_files), "--store", tmp_path / "yard.sqlite", "--jobs", 2)
    assert result.stdout.splitlines()[-1] == "1 screened, 0 known before, 4 failed"
    refusals = sorted(result.stderr.splitlines())
    assert [line.rpartition("/")[2].partition(" is not a file: ")[0] for line in refusals] == [
        "device.jpg",
        "link.jpg",
        "pipe.jpg",
        "socket.jpg",
    ]


@pytest.mark.parametrize(
    ("place", "match"), [("/nowhere", "cannot be searched"), ("{tmp}/none", "no photos in")]
)
def test_a_place_without_photos_is_a_wrong_command(tmp_path, place, match):
    (tmp_path / "none").mkdir()
    result = run("backlog", place.format(tmp=tmp_path), "--store", tmp_path / "yard.sqlite")
    assert result.exit_code == 2
    assert match in result.output


def test_a_wrong_place_is_refused_before_anything_is_screened(yard, tmp_path, monkeypatch):
    monkeypatch.setattr(backlog, "ASKED_AT_A_TIME", 1)  # else the first lot would hold the second place too
    result = run("backlog", yard, tmp_path / "typo", "--store", tmp_path / "yard.sqlite", "--jobs", 1)
    assert result.exit_code == 2
    assert f"{tmp_path / 'typo'} cannot be searched" in " ".join(result.output.split())
    assert not (tmp_path / "yard.sqlite").exists()


def test_a_place_that_goes_and_a_folder_that_is_closed_cost_no_other(yard, tmp_path, monkeypatch, unlisted):
    closed = unlisted(yard / "unit 7 [left]")
    places = [tmp_path / name for name in ("share", "last")]
    for number, place in enumerate(places):
        place.mkdir()
        (place / "b.png").write_bytes((yard / "b.png").read_bytes() + bytes([number]))
    find = backlog.find_files

    def find_after_the_share_is_gone(place, left_out):
        if place == str(places[0]):
            shutil.rmtree(place, ignore_errors=True)
        return find(place, left_out)

    monkeypatch.setattr(backlog, "find_files", find_after_the_share_is_gone)
    result = run("backlog", yard, *places, "--store", tmp_path / "yard.sqlite", "--jobs", 1)
    assert result.exit_code == 1
    # Two damaged photos, the closed folder and the share.
    assert result.stdout.splitlines()[-1] == "3 screened, 0 known before, 4 failed"
    told = result.stderr.splitlines()
    assert len(told) == 4
    assert any(line.startswith(f"{closed} cannot be searched (Permission denied)") for line in told)
    assert any(line.startswith(f"{places[0]} cannot be searched (No such file") for line in told)


def test_ctrl_c_keeps_what_is_done(many, tmp_path):
    store = tmp_path / "yard.sqlite"
    process = start("backlog", many, "--store", store, "--jobs", 2)
    wait_for(store, 1)
    os.killpg(process.pid, signal.SIGINT)
    assert process.wait(300) == 130
    assert run("backlog", many, "--store", store).exit_code == 1
    assert len(contents(store)[0]) == 23


def test_ctrl_c_after_the_last_photo_stops_as_well(yard, tmp_path, monkeypatch):
    def interrupted(store):
        raise KeyboardInterrupt

    monkeypatch.setattr(Backlog, "group_bursts", interrupted)
    result = run("backlog", yard, "--store", tmp_path / "yard.sqlite", "--jobs", 1)
    assert result.exit_code == 130
    assert "the same command goes on from here" in " ".join(result.stderr.split())
    monkeypatch.undo()
    again = run("backlog", yard, "--store", tmp_path / "yard.sqlite", "--jobs", 1)
    assert again.stdout.splitlines()[-1].startswith("0 screened")


def wait_for(store, photos):
    """Wait until so many photos are in the records."""
    deadline = time.monotonic() + 300
    while time.monotonic() < deadline:
        with suppress(sqlite3.Error), closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as database:
            if database.execute("SELECT count(*) FROM photo").fetchone()[0] >= photos:
                return
        time.sleep(0.02)
    raise AssertionError("nothing was screened within five minutes")


def workers_of(pid):
    """Give the processes that screen for a parent."""
    try:
        with open(f"/proc/{pid}/task/{pid}/children") as children:
            found = [int(child) for child in children.read().split()]
    except FileNotFoundError:
        return []
    names = {}
    for child in found:
        with suppress(FileNotFoundError), open(f"/proc/{child}/cmdline") as line:
            names[child] = line.read()
    return [child for child, name in names.items() if "spawn_main" in name]


@pytest.mark.parametrize("seed", [1, 2])
def test_whatever_is_killed_the_records_end_the_same(many, tmp_path, seed):
    rng = random.Random(seed)
    whole, broken = tmp_path / "whole.sqlite", tmp_path / "broken.sqlite"
    run("backlog", many, "--store", whole, "--jobs", 2)
    victims = ["parent", "worker", rng.choice(["parent", "worker"])]
    rng.shuffle(victims)
    moments = sorted(rng.sample(range(20), len(victims)))
    killed = []
    for victim, moment in zip(victims, moments, strict=True):
        process = start("backlog", many, "--store", broken, "--jobs", 2)
        wait_for(broken, moment)
        time.sleep(rng.uniform(0, 0.3))
        if victim == "parent":
            process.kill()
        for worker in workers_of(process.pid)[:1] if victim == "worker" else ():
            os.kill(worker, signal.SIGKILL)
        killed.append((victim, process.wait(300)))
    # A killed parent was still at work; one whose worker was killed went on to the end, or had come to it.
    assert {code for victim, code in killed if victim == "parent"} <= {-signal.SIGKILL, 1}
    assert {code for victim, code in killed if victim == "worker"} == {1}
    assert run("backlog", many, "--store", broken, "--jobs", 2).exit_code == 1
    assert contents(broken) == contents(whole)


def test_a_cluster_gives_the_same_records_though_a_worker_is_killed(many, tmp_path):
    run("backlog", many, "--store", tmp_path / "one.sqlite", "--jobs", 1)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        process = start(
            "backlog", many, "--store", tmp_path / "many.sqlite", "--scheduler", cluster.scheduler_address
        )
        wait_for(tmp_path / "many.sqlite", 4)
        os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)
        assert process.wait(300) == 1
    assert contents(tmp_path / "many.sqlite") == contents(tmp_path / "one.sqlite")
