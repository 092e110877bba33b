"""Files are whole or as they were."""

import os
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visual_aid.files import printable, write_atomically


def test_a_file_is_written_with_its_folder_and_replaced(tmp_path):
    path = tmp_path / "new" / "a.json"
    write_atomically(path, b"first")
    write_atomically(path, b"second")
    assert path.read_bytes() == b"second"
    assert os.listdir(path.parent) == ["a.json"]


def test_a_failed_write_leaves_what_was_there(tmp_path, monkeypatch):
    path = tmp_path / "a.json"
    path.write_bytes(b"old")

    def full_disk(_):
        raise OSError("no space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(OSError, match="no space"):
        write_atomically(path, b"new")
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.json"]


def test_many_who_write_the_same_file_at_once_do_not_fail_each_other(tmp_path):
    path = tmp_path / f"{'x' * 250}.jpg"  # 254 bytes; Linux allows 255
    with ThreadPoolExecutor(8) as pool:
        done = [pool.submit(write_atomically, path, bytes([n]) * 5000) for n in range(64)]
    assert [write.exception() for write in done] == [None] * 64
    assert len(set(path.read_bytes())) == 1
    assert os.listdir(tmp_path) == [path.name]


def test_a_new_file_has_the_permissions_of_any_other(tmp_path):
    write_atomically(tmp_path / "a", b"")
    (tmp_path / "b").write_bytes(b"")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "b").stat().st_mode


@given(st.binary(max_size=20))
def test_any_name_fits_on_one_line_of_utf_8(name):
    line = printable(os.fsdecode(name))
    assert line.isprintable()
    line.encode()


def test_readable_names_stay_as_they_are():
    assert printable("Prüfung 7 [左].jpg") == "Prüfung 7 [左].jpg"
