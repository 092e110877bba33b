import hashlib
import io

import numpy as np
import pytest
from PIL import ExifTags, Image

from visual_aid.photo import read_photo_bytes
from visual_aid.records.photofolder import THUMB_SIDE, PhotoFolder


def turned(data, orientation):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    buffer = io.BytesIO()
    Image.open(io.BytesIO(data)).save(buffer, "JPEG", quality=95, exif=exif.tobytes())
    return buffer.getvalue()


def sha(data):
    return hashlib.sha256(data).hexdigest()


def test_an_original_is_kept_byte_for_byte_and_only_once(tmp_path, picture):
    folder = PhotoFolder(tmp_path)
    path = folder.keep(picture())
    assert folder.keep(picture()) == path
    assert (tmp_path / path).read_bytes() == picture()
    assert [p.name for p in tmp_path.rglob("*") if p.is_file()] == [f"{sha(picture())}.jpg"]


def test_an_upright_jpeg_is_shown_as_it_is(tmp_path, picture):
    folder = PhotoFolder(tmp_path)
    path = tmp_path / folder.keep(picture())
    assert folder.upright(path, sha(picture())) == picture()


@pytest.mark.parametrize("orientation", range(2, 9))
def test_a_turned_photo_is_shown_with_the_pixels_of_the_record(tmp_path, picture, orientation):
    data = turned(picture(), orientation)
    folder = PhotoFolder(tmp_path)
    shown = Image.open(io.BytesIO(folder.upright(tmp_path / folder.keep(data), sha(data))))
    assert shown.getexif().get(ExifTags.Base.Orientation, 1) == 1
    expected = read_photo_bytes(data, "turned.jpg").full
    assert shown.size == expected.shape[1::-1]
    assert np.abs(np.asarray(shown).astype(int) - expected).mean() < 3


@pytest.mark.parametrize("format", ["PNG", "TIFF", "WEBP", "BMP"])
def test_what_a_browser_may_not_show_is_shown_as_jpeg(tmp_path, picture, format):  # noqa: A002
    data = picture(format=format)
    folder = PhotoFolder(tmp_path)
    shown = Image.open(io.BytesIO(folder.upright(tmp_path / folder.keep(data), sha(data))))
    assert (shown.format, shown.size) == ("JPEG", (320, 240))


def test_a_thumbnail_is_small_and_upright(tmp_path, picture):
    data = turned(picture(size=(1600, 800)), 6)
    folder = PhotoFolder(tmp_path)
    thumb = Image.open(io.BytesIO(folder.thumb(tmp_path / folder.keep(data), sha(data))))
    assert thumb.size == (THUMB_SIDE // 2, THUMB_SIDE)


def test_a_photo_changed_since_its_screening_is_not_shown(tmp_path, picture):
    path = tmp_path / "IMG_0001.jpg"
    path.write_bytes(picture(seed=1))
    folder = PhotoFolder(tmp_path / "photos")
    with pytest.raises(FileNotFoundError, match=r"IMG_0001\.jpg has changed"):
        folder.upright(path, sha(picture(seed=0)))
    with pytest.raises(FileNotFoundError, match=r"IMG_0001\.jpg has changed"):
        folder.thumb(path, sha(picture(seed=0)))


@pytest.mark.parametrize("place", ["{}", "file://{}"])
def test_what_is_no_file_any_more_is_not_waited_for(tmp_path, no_files, place):
    for path in no_files.iterdir():
        with pytest.raises(FileNotFoundError, match=rf"{path.name} (is not a file|cannot be opened)"):
            PhotoFolder(tmp_path / "photos").upright(place.format(path), sha(b""))
