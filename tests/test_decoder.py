"""Photos decoded in a process of their own, and what becomes of one that ends it."""

import io
import os
import pickle
import threading
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from visual_aid import decoder, photo
from visual_aid.photo import PhotoError

DATA = Path(__file__).parent / "data"


def wide_photo(kind="JPEG", **options):
    tiles = np.random.default_rng(7).integers(0, 255, (12, 25, 3), np.uint8).repeat(80, 0).repeat(80, 1)
    buffer = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "Yardcam"
    Image.fromarray(tiles).save(buffer, kind, exif=exif, **options)
    return buffer.getvalue()


def refused(name, code):
    with pytest.raises(PhotoError) as caught:
        decoder.read_photo_bytes(wide_photo(), name)
    assert caught.value.trouble.code == code
    assert str(caught.value).startswith(name)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("data", [wide_photo(), wide_photo("PNG"), (DATA / "quarters.heic").read_bytes()])
def test_apart_gives_the_same_photo(data):
    here, apart = (
        photo.read_photo_bytes(data, "a", path="b/a"),
        decoder.read_photo_bytes(data, "a", path="b/a"),
    )
    assert (apart.info, apart.capture, apart.scale) == (here.info, here.capture, here.scale)
    np.testing.assert_array_equal(apart.working, here.working)
    np.testing.assert_array_equal(apart.full, here.full)
    assert not apart.working.flags.writeable
    np.testing.assert_array_equal(pickle.loads(pickle.dumps(apart)).full, here.full)


def test_apart_refuses_in_the_same_words(tmp_path):
    for data in (b"", b"GIF89a", wide_photo()[:5000]):
        (tmp_path / "a.jpg").write_bytes(data)
        lines = []
        for read in (photo.read_photo, decoder.read_photo):
            with pytest.raises(PhotoError) as caught:
                read(tmp_path / "a.jpg")
            lines.append(caught.value.trouble)
        assert lines[0] == lines[1]
    with pytest.raises(PhotoError, match="is not there"):
        decoder.read_photo(tmp_path / "none.jpg")


def test_a_file_that_ends_the_decoder_costs_itself_alone(troublemaker):
    decoder.read_photo_bytes(wide_photo(), "a.jpg")
    refused("fatal.heic", "process_died")
    assert decoder.read_photo_bytes(wide_photo(), "b.jpg").info.width == 960


def test_a_file_that_takes_too_long_is_given_up(troublemaker, monkeypatch):
    monkeypatch.setattr(decoder, "SECONDS", 0.3)
    refused("slow.heic", "too_slow")
    assert decoder._idle == []


def test_a_file_that_takes_too_much_memory_is_refused(troublemaker):
    refused("greedy.heic", "too_many_pixels")
    assert decoder.read_photo_bytes(wide_photo(), "b.jpg").info.width == 960


def test_what_a_library_prints_is_not_taken_for_an_answer(troublemaker):
    assert decoder.read_photo_bytes(wide_photo(), "chatty.heic").info.width == 960


def test_a_decoder_that_is_ended_from_outside_costs_nothing(troublemaker):
    assert decoder.read_photo_bytes(wide_photo(), "once.heic").info.width == 960
    for process in decoder._idle:
        process._popen.kill()
    assert decoder.read_photo_bytes(wide_photo(), "b.jpg").info.width == 960


def test_one_process_is_used_again_and_several_threads_use_no_more_than_there_are_processors(fresh_decoder):
    for _ in range(3):
        decoder.read_photo_bytes(wide_photo(), "a.jpg")
    assert len(decoder._idle) == 1
    widths = []
    threads = [
        threading.Thread(target=lambda: widths.append(decoder.read_photo_bytes(wide_photo(), "a").info.width))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert widths == [960] * 8
    assert len(decoder._idle) <= (os.cpu_count() or 1)


def test_limits_are_those_of_the_readme():
    assert (decoder.SECONDS, decoder.MEMORY) == (10, 1.5e9)


def test_a_file_too_large_to_be_a_photo_is_not_read(tmp_path):
    with (tmp_path / "a.jpg").open("wb") as file:
        file.truncate(photo.MAX_BYTES + 1)  # a hole, which takes no room on the disk
    with pytest.raises(PhotoError, match=r"a\.jpg has 500 MB, the limit is 500 MB"):
        decoder.read_photo(tmp_path / "a.jpg")


def test_an_answer_cut_short_is_none():
    with pytest.raises(EOFError):
        decoder._receive(io.BytesIO(b'{"bytes": 10}\nhalf'))
