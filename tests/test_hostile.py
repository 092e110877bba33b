"""Every bad file ends in a photo or in one line; files of the full corpus: tests/benchmark/hostile.py."""

import os

import pytest

from visual_aid import decoder
from visual_aid.photo import PhotoError, read_photo

from .hostile import NAMES, bombs, mutated, sound


def outcome(read, *arguments):
    """Give 'read', or the code of the refusal, whose line has to be one."""
    try:
        photo = read(*arguments)
    except PhotoError as refused:
        line = str(refused)
        assert line.isprintable()
        assert ": " in line
        return refused.trouble.code
    assert photo.working.shape[2] == 3
    return "read"


def test_sound_files_are_read():
    for name, data in sound().items():
        assert outcome(decoder.read_photo_bytes, data, name) == "read", name


def test_the_corpus_is_the_same_every_time():
    assert list(mutated(60)) == list(mutated(60))
    assert list(mutated(60)) != list(mutated(60, seed=2))


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("bomb.png", "too_many_pixels"),
        ("bomb.jpg", "too_many_pixels"),
        ("bomb.bmp", "too_many_pixels"),
        ("loop.jpg", "read"),
        ("long.jpg", "read"),
        ("empty.jpg", "empty"),
        ("text.jpg", "not_an_image"),
    ],
)
def test_a_bomb_is_defused(name, code):
    assert outcome(decoder.read_photo_bytes, bombs()[name], name) == code


def test_a_sample_of_the_corpus_ends_in_photos_and_lines():
    codes = {outcome(decoder.read_photo_bytes, data, name) for name, data in mutated(150)}
    assert {"read", "damaged", "truncated"} <= codes
    assert not codes & {"process_died", "too_slow"}


@pytest.mark.parametrize("name", NAMES)
def test_a_strange_name_is_read_and_complained_of_in_one_line(tmp_path, name):
    (tmp_path / name).write_bytes(sound()["a.jpg"])
    assert read_photo(tmp_path / name).info.name.isprintable()
    (tmp_path / name).write_bytes(b"no photo")
    assert outcome(read_photo, tmp_path / name) == "not_an_image"


def test_what_is_no_file_is_refused_and_not_waited_for(no_files):
    outcomes = {path.name: outcome(read_photo, path) for path in no_files.iterdir()}
    assert outcomes == dict.fromkeys(("pipe.jpg", "link.jpg", "socket.jpg", "device.jpg"), "unreadable")


def test_links_in_a_circle_and_closed_files_are_refused(tmp_path):
    (tmp_path / "a.jpg").symlink_to(tmp_path / "b.jpg")
    (tmp_path / "b.jpg").symlink_to(tmp_path / "a.jpg")
    assert outcome(read_photo, tmp_path / "a.jpg") == "unreadable"
    (tmp_path / "closed.jpg").write_bytes(sound()["a.jpg"])
    (tmp_path / "closed.jpg").chmod(0)
    # Root reads every file.
    assert outcome(read_photo, tmp_path / "closed.jpg") == ("read" if os.geteuid() == 0 else "unreadable")
