"""Photos of every supported kind come in upright, in sRGB and whole; all others with a line that helps."""

import hashlib
import io
import math
import os
import pickle
import struct
import zlib
from pathlib import Path

import cv2
import imageio.v3 as iio
import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageOps

from visual_aid import decoder
from visual_aid.photo import BACKDROP, WORKING_SIDE, Photo, PhotoError, read_photo, read_photo_bytes

from .conftest import camera_exif

DATA = Path(__file__).parent / "data"


def blocks(height: int = 80, width: int = 120) -> np.ndarray:
    """Six unlike colours in two rows: no turn or mirror image of it looks like another."""
    colours = np.array(
        [[(200, 40, 40), (40, 160, 60), (40, 70, 190)], [(220, 200, 60), (90, 90, 90), (230, 230, 230)]]
    )
    rows, columns = np.arange(height) * 2 // height, np.arange(width) * 3 // width
    return colours[rows[:, None], columns[None, :]].astype(np.uint8)


def encoded(image: Image.Image | np.ndarray, kind: str, **options) -> bytes:
    target = io.BytesIO()
    (image if isinstance(image, Image.Image) else Image.fromarray(image)).save(target, kind, **options)
    return target.getvalue()


def oriented(value: object) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = value
    return exif


def refused(data: bytes, code: str, name: str = "IMG_0042.jpg", **options) -> str:
    with pytest.raises(PhotoError) as caught:
        read_photo_bytes(data, name, **options)
    trouble = caught.value.trouble
    assert trouble.code == code
    assert name in trouble.say
    assert ":" in trouble.say, "the line names the mend"
    assert "\n" not in trouble.say
    assert str(caught.value) == trouble.say
    return trouble.say


# Formats


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("PNG", {}),
        ("BMP", {}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("WEBP", {"lossless": True}),
    ],
)
def test_lossless_formats_keep_every_pixel(kind, options):
    photo = read_photo_bytes(encoded(blocks(), kind, **options), "a")
    np.testing.assert_array_equal(photo.working, blocks())
    np.testing.assert_array_equal(photo.full, blocks())


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"subsampling": 2}])
def test_jpeg_pixels_agree_with_a_second_decoder(options):
    data = encoded(cv2.GaussianBlur(blocks(), (0, 0), 5), "JPEG", quality=95, **options)
    difference = read_photo_bytes(data, "a").working.astype(int) - np.asarray(Image.open(io.BytesIO(data)))
    assert np.abs(difference).max() <= 4  # decoders may round the chroma differently


def test_heic_is_turned_once_though_both_container_and_exif_ask_for_it():
    # quarters.heic as phones write it: stored 128 x 96 as red, green / blue, yellow, with a container
    # rotation and EXIF orientation 6, which both mean a quarter turn clockwise.
    photo = read_photo(DATA / "quarters.heic")
    assert (photo.info.width, photo.info.height) == (96, 128)
    corners = photo.working[[10, 10, -10, -10], [10, -10, 10, -10]].astype(int)
    expected = [(40, 70, 190), (200, 40, 40), (220, 200, 60), (40, 160, 60)]
    np.testing.assert_allclose(corners, expected, atol=6)
    assert photo.info.taken == "2026-05-04T07:12:00"
    assert photo.capture.camera == "Yardcam One"


def test_heic_with_a_broken_item_name_is_refused_without_ending_the_process():
    data = (DATA / "quarters.heic").read_bytes().replace(b"Exif", b"\xffxif", 1)
    with pytest.raises(PhotoError) as caught:
        decoder.read_photo_bytes(data, "a.heic")  # apart, so that the tests live on if it does end it
    assert caught.value.trouble.code == "damaged"


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_grey_becomes_three_equal_channels(kind):
    grey = np.tile(np.arange(0, 240, 2, dtype=np.uint8), (80, 1))
    working = read_photo_bytes(encoded(grey, kind), "a").working
    assert working.shape == (80, 120, 3)
    assert (working == working[..., :1]).all()
    np.testing.assert_allclose(working[..., 0], grey, atol=0 if kind != "JPEG" else 3)


@pytest.mark.parametrize("extension", [".png", ".tif"])
def test_sixteen_bits_are_scaled_to_eight(extension):
    values = np.tile(np.arange(120, dtype=np.uint16) * 550, (80, 1))
    expected = np.rint(values / 65535 * 255)
    grey = read_photo_bytes(iio.imwrite("<bytes>", values, extension=extension), "a").working
    np.testing.assert_array_equal(grey[..., 1], expected)
    colour = np.dstack([values, values[::-1, ::-1], values // 2])
    found = read_photo_bytes(cv2.imencode(extension, colour[..., ::-1])[1].tobytes(), "a").working
    np.testing.assert_allclose(found, colour / 65535 * 255, atol=1)


@pytest.mark.parametrize("mode", ["P", "1", "LA", "CMYK"])
def test_other_modes_become_rgb(mode):
    image = Image.fromarray(blocks()).convert(mode)
    kind = "TIFF" if mode == "CMYK" else "PNG"
    found = read_photo_bytes(encoded(image, kind), "a").working
    np.testing.assert_array_equal(found, np.asarray(image.convert("RGB")))


def test_cmyk_jpeg_shows_ink_as_ink():
    inks = np.zeros((80, 120, 4), np.uint8)
    inks[:, 30:60, 0] = inks[:, 60:90, 3] = inks[:, 90:, 1] = 255  # paper, cyan, black, magenta
    working = read_photo_bytes(encoded(Image.fromarray(inks, "CMYK"), "JPEG", quality=95), "a").working
    found = working[40, [15, 45, 75, 105]].astype(int)
    np.testing.assert_allclose(found, [(255, 255, 255), (0, 255, 255), (0, 0, 0), (255, 0, 255)], atol=6)


def test_transparent_pixels_show_the_backdrop():
    rgba = np.dstack([blocks(), np.full((80, 120), 255, np.uint8)])
    rgba[:40, :, 3] = 0
    working = read_photo_bytes(encoded(rgba, "PNG"), "a").working
    assert (working[:40] == BACKDROP).all()
    np.testing.assert_array_equal(working[40:], blocks()[40:])


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_the_first_frame_of_several_is_read(kind):
    options = {"lossless": True} if kind == "WEBP" else {}
    other = Image.fromarray(blocks()[::-1])
    data = encoded(blocks(), kind, save_all=True, append_images=[other], **options)
    np.testing.assert_array_equal(read_photo_bytes(data, "a").working, blocks())


def test_floating_point_tiff_is_refused():
    refused(encoded(Image.fromarray(np.zeros((80, 80), np.float32)), "TIFF"), "unsupported")


# Orientation. Actions of EXIF 2.32 tag 0x0112 (CIPA DC-008), from memory; Pillow agrees, see the next test.
TURNS = {
    1: lambda a: a,
    2: np.fliplr,
    3: lambda a: np.rot90(a, 2),
    4: np.flipud,
    5: lambda a: np.swapaxes(a, 0, 1),
    6: lambda a: np.rot90(a, -1),
    7: lambda a: np.swapaxes(np.rot90(a, 2), 0, 1),
    8: np.rot90,
}


@pytest.mark.parametrize("value", TURNS)
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_orientation_as_the_standard_says(kind, value):
    options = {"lossless": True} if kind == "WEBP" else {}
    photo = read_photo_bytes(encoded(blocks(), kind, exif=oriented(value), **options), "a")
    np.testing.assert_array_equal(photo.working, TURNS[value](blocks()))
    assert (photo.info.height, photo.info.width) == photo.working.shape[:2]


@pytest.mark.parametrize("value", TURNS)
@pytest.mark.parametrize("size", [(80, 120), (1240, 1860)])
def test_jpeg_orientation_agrees_with_a_second_reader(size, value):
    data = encoded(blocks(*size), "JPEG", exif=oriented(value), quality=95)
    photo = read_photo_bytes(data, "a")
    reference = ImageOps.exif_transpose(Image.open(io.BytesIO(data)))
    assert (photo.info.width, photo.info.height) == reference.size
    assert photo.full.shape == (*reference.size[::-1], 3)
    assert np.abs(photo.full.astype(int) - np.asarray(reference)).mean() < 1
    small = np.asarray(reference.resize(photo.working.shape[1::-1], Image.Resampling.BOX))
    assert np.abs(photo.working.astype(int) - small).mean() < 1


@pytest.mark.parametrize("value", [0, 9, 65535])
def test_a_bogus_orientation_counts_as_upright(value):
    photo = read_photo_bytes(encoded(blocks(), "PNG", exif=oriented(value)), "a")
    np.testing.assert_array_equal(photo.working, blocks())


# Working scale


@given(st.integers(250, 6000), st.integers(250, 6000), st.floats(-100, 7000))
def test_mapping_there_and_back(height, width, x):
    photo = Photo.from_array(np.zeros((height if width < 300 else 250, width, 3), np.uint8))
    assert photo.to_working(photo.to_full(x)) == pytest.approx(x, abs=1e-6)
    assert photo.scale >= 1
    assert max(photo.working.shape[:2]) <= WORKING_SIDE
    # The outer edges of both pixel grids coincide.
    assert photo.to_full(-0.5) == -0.5
    longest = max(photo.working.shape[:2])
    assert photo.to_full(longest - 0.5) == pytest.approx(max(photo.full.shape[:2]) - 0.5)


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize(
    ("width", "height"), [(1601, 1203), (2400, 1799), (3333, 2221), (4032, 3024), (6500, 700)]
)
def test_a_spot_keeps_its_place_at_the_working_scale(width, height, kind):
    # A dark Gaussian spot of 12 working pixels' sigma; its centre of mass is known exactly.
    scale = max(width, height) / WORKING_SIDE
    x, y, sigma = 0.77 * width, 0.61 * height, 12 * scale
    bump = np.exp(-((np.arange(height) - y) ** 2) / (2 * sigma**2))[:, None] * np.exp(
        -((np.arange(width) - x) ** 2) / (2 * sigma**2)
    )
    array = np.repeat((220 - 180 * bump)[..., None], 3, axis=2).astype(np.uint8)
    options = {"quality": 92} if kind == "JPEG" else {"compress_level": 1}
    photo = read_photo_bytes(encoded(array, kind, **options), "a")
    assert photo.scale == pytest.approx(scale)
    assert photo.full.shape == array.shape
    mass = np.clip(210 - photo.working[..., 1].astype(float), 0, None)
    rows, columns = np.indices(mass.shape)
    assert photo.to_full((columns * mass).sum() / mass.sum()) == pytest.approx(x, abs=0.05 * scale)
    assert photo.to_full((rows * mass).sum() / mass.sum()) == pytest.approx(y, abs=0.05 * scale)


def test_the_quick_way_equals_the_slow_way():
    # Working pixels come from a reduced decode; the same photo decoded in full and averaged differs by noise.
    rng = np.random.default_rng(3)
    array = cv2.resize(
        rng.integers(20, 236, (150, 200, 3), dtype=np.uint8), (4000, 3000), interpolation=cv2.INTER_CUBIC
    )
    photo = read_photo_bytes(encoded(array, "JPEG", quality=92), "a")
    slow = Photo.from_array(photo.full)
    error = photo.working.astype(float) - slow.working
    assert 10 * math.log10(255**2 / np.mean(error**2)) > 40  # dB


def test_small_photos_are_never_enlarged():
    photo = Photo.from_array(blocks())
    assert photo.scale == 1
    assert photo.working.shape == blocks().shape
    assert photo.full is photo.working


def test_coordinates_map_as_arrays_too():
    photo = Photo.from_array(np.zeros((128, 3200, 3), np.uint8))
    np.testing.assert_allclose(photo.to_full(np.array([0.0, 799.5])), [0.5, 1599.5])


@pytest.mark.parametrize(
    ("box", "rows", "columns"),
    [
        ((10, 20, 30, 40), (20, 60), (10, 40)),
        ((10.4, 20.6, 30, 10), (20, 31), (10, 41)),
        ((-5, -5, 20, 20), (0, 15), (0, 15)),
        ((110, 70, 50, 50), (70, 80), (110, 120)),
        ((500, 500, 10, 10), (0, 0), (0, 0)),
        ((-50, 10, 10, 10), (10, 20), (0, 0)),
    ],
)
def test_crops_are_clipped_to_the_photo(box, rows, columns):
    crop = Photo.from_array(blocks()).crop(*box)
    assert crop.shape[0] * crop.shape[1] == (rows[1] - rows[0]) * (columns[1] - columns[0])
    if crop.size:
        np.testing.assert_array_equal(crop, blocks()[slice(*rows), slice(*columns)])


def test_pixels_cannot_be_changed_and_a_photo_can_be_sent_to_another_process():
    array = np.tile(blocks(400, 600), (1, 4, 1))
    for photo in (
        Photo.from_array(array),
        read_photo_bytes(encoded(array, "JPEG"), "a"),
        read_photo_bytes(encoded(array, "PNG"), "a"),
    ):
        for pixels in (photo.working, photo.full):
            with pytest.raises(ValueError, match="read-only"):
                pixels[0, 0] = 0
        again = pickle.loads(pickle.dumps(photo))
        np.testing.assert_array_equal(again.working, photo.working)
        np.testing.assert_array_equal(again.full, photo.full)


@pytest.mark.parametrize(
    "array", [np.zeros((9, 9), np.uint8), np.zeros((9, 9, 3)), np.zeros((0, 9, 3), np.uint8)]
)
def test_arrays_of_another_kind_are_refused(array):
    with pytest.raises(ValueError, match="pixels"):
        Photo.from_array(array)


# Colour profiles


def icc_profile(space: bytes, tags: dict[bytes, bytes], kind: bytes = b"mntr", pcs: bytes = b"XYZ ") -> bytes:
    """Lay out an ICC profile, version 2.4 (ICC.1:2001-04, clause 6, from memory)."""
    described = {
        b"desc": b"desc" + struct.pack(">4xI", 5) + b"test\0" + bytes(78),
        b"cprt": b"text\0\0\0\0none\0",
        **tags,
    }
    table, body = struct.pack(">I", len(described)), b""
    for signature, value in described.items():
        table += signature + struct.pack(">II", 132 + 12 * len(described) + len(body), len(value))
        body += value + bytes(-len(value) % 4)
    header = struct.pack(">I4xI4s4s4s", 128 + len(table) + len(body), 0x02400000, kind, space, pcs)
    header += (
        struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
        + b"acsp"
        + bytes(28)
        + struct.pack(">3I", 0xF6D6, 0x10000, 0xD32D)
    )
    return header.ljust(128, b"\0") + table + body


def xyz_tag(values) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(v * 65536) for v in values))


def gamma_tag(gamma: float) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))


def primaries_to_xyz(primaries) -> np.ndarray:
    """Derive linear RGB to XYZ (D65) from chromaticities (SMPTE RP 177)."""
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in primaries]).T
    return columns * np.linalg.solve(columns, D65)


def matrix_profile(primaries, gamma: float) -> bytes:
    bradford = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    to_d50 = np.linalg.solve(bradford, np.diag((bradford @ D50) / (bradford @ D65)) @ bradford)
    columns = (to_d50 @ primaries_to_xyz(primaries)).T
    tags = {b"wtpt": xyz_tag(D50)}
    for letter, column in zip("rgb", columns, strict=True):
        tags[f"{letter}XYZ".encode()] = xyz_tag(column)
        tags[f"{letter}TRC".encode()] = gamma_tag(gamma)
    return icc_profile(b"RGB ", tags)


def srgb_encoded(linear: np.ndarray) -> np.ndarray:
    linear = np.clip(linear, 0, 1)
    return 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


D50, D65 = np.array([0.9642, 1.0, 0.8249]), np.array([0.95047, 1.0, 1.08883])
SRGB = [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)]  # IEC 61966-2-1
DISPLAY_P3 = [(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)]  # SMPTE EG 432-1 primaries, D65
ADOBE_RGB = [(0.64, 0.33), (0.21, 0.71), (0.15, 0.06)]  # Adobe RGB (1998) encoding, gamma 563/256


@pytest.mark.parametrize(("primaries", "gamma"), [(DISPLAY_P3, 2.2), (ADOBE_RGB, 563 / 256)])
@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_wide_colours_come_in_as_srgb(primaries, gamma, kind):
    muted = np.clip(blocks() // 2 + 60, 0, 255).astype(np.uint8)
    data = encoded(
        muted,
        kind,
        icc_profile=matrix_profile(primaries, gamma),
        **({"quality": 98} if kind == "JPEG" else {}),
    )
    to_srgb = np.linalg.solve(primaries_to_xyz(SRGB), primaries_to_xyz(primaries))
    expected = srgb_encoded((muted / 255.0) ** gamma @ to_srgb.T)
    assert np.abs(expected - muted).max() > 8, "the profile makes a difference"
    inside = np.s_[10::40, 20::40]  # away from the blocks' edges, where JPEG rings
    for pixels in (read_photo_bytes(data, "a").working, read_photo_bytes(data, "a").full):
        np.testing.assert_allclose(pixels[inside], expected[inside], atol=1.5 if kind == "PNG" else 5)


def test_full_size_pixels_pass_through_the_profile_too():
    data = encoded(
        blocks(30, 1900).repeat(3, axis=0), "JPEG", icc_profile=matrix_profile(DISPLAY_P3, 2.2), quality=98
    )
    photo = read_photo_bytes(data, "a")
    np.testing.assert_allclose(photo.full[20, 100].astype(int), photo.working[17, 84].astype(int), atol=2)
    assert abs(int(photo.full[20, 100, 0]) - 200) > 8


def test_an_srgb_profile_changes_nothing():
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    found = read_photo_bytes(encoded(blocks(), "PNG", icc_profile=srgb), "a").working
    np.testing.assert_array_equal(found, blocks())


def test_a_grey_profile_sets_the_tone():
    grey = np.tile(np.arange(0, 240, 2, dtype=np.uint8), (80, 1))
    profile = icc_profile(b"GRAY", {b"wtpt": xyz_tag(D50), b"kTRC": gamma_tag(1.0)})
    for kind in ("PNG", "JPEG"):
        found = read_photo_bytes(encoded(grey, kind, icc_profile=profile), "a").working
        expected = np.repeat(srgb_encoded(grey / 255.0)[..., None], 3, axis=2)
        np.testing.assert_allclose(found[:, 8:], expected[:, 8:], atol=2 if kind == "PNG" else 6)


def test_a_cmyk_profile_decides_what_ink_looks_like():
    # A table of two points per ink (lut8Type) in which every ink only takes lightness away, black most.
    corners = np.indices((2, 2, 2, 2)).reshape(4, -1).T
    lightness = 100 - corners @ [10, 10, 10, 60]
    lab = np.column_stack([lightness * 2.55, np.full(16, 128), np.full(16, 128)]).round().astype(np.uint8)
    ramp = bytes(range(256))
    table = (
        b"mft1\0\0\0\0" + bytes([4, 3, 2, 0]) + struct.pack(">9i", *(np.eye(3, dtype=int) * 65536).ravel())
    )
    table += ramp * 4 + lab.tobytes() + ramp * 3
    profile = icc_profile(b"CMYK", {b"wtpt": xyz_tag(D50), b"A2B0": table}, kind=b"prtr", pcs=b"Lab ")
    inks = np.zeros((80, 120, 4), np.uint8)
    inks[:, 60:, 3] = 255
    for kind in ("TIFF", "JPEG"):
        image = Image.fromarray(inks, "CMYK")
        found = read_photo_bytes(encoded(image, kind, icc_profile=profile), "a").working.astype(int)
        # L* 100 and L* 40 as sRGB: CIE 1976 luminance ((L + 16) / 116) ** 3.
        np.testing.assert_allclose(found[40, 20], 255, atol=2)
        np.testing.assert_allclose(found[40, 100], srgb_encoded(np.array((56 / 116) ** 3)), atol=3)


@pytest.mark.parametrize("profile", [b"nonsense", matrix_profile(DISPLAY_P3, 2.2)[:200]])
def test_a_broken_profile_is_ignored(profile):
    found = read_photo_bytes(encoded(blocks(), "PNG", icc_profile=profile), "a").working
    np.testing.assert_array_equal(found, blocks())


def test_a_profile_of_another_colour_space_is_ignored():
    data = encoded(
        blocks(), "PNG", icc_profile=icc_profile(b"GRAY", {b"wtpt": xyz_tag(D50), b"kTRC": gamma_tag(1)})
    )
    np.testing.assert_array_equal(read_photo_bytes(data, "a").working, blocks())


# Identity


def test_the_record_names_the_file_and_its_hash(tmp_path):
    path = tmp_path / "unit 17 axle 2.jpg"
    path.write_bytes(encoded(blocks(), "JPEG"))
    info = read_photo(path).info
    assert (info.name, info.path) == ("unit 17 axle 2.jpg", str(path))
    assert info.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (info.width, info.height) == (120, 80)


def test_reading_twice_gives_the_same_pixels():
    data = encoded(np.tile(blocks(400, 600), (3, 4, 1)), "JPEG", icc_profile=matrix_profile(DISPLAY_P3, 2.2))
    np.testing.assert_array_equal(read_photo_bytes(data, "a").working, read_photo_bytes(data, "a").working)


# Photos that cannot be read


def png_claiming(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">2I5B", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(bytes(1000)))
        + chunk(b"IEND", b"")
    )


def test_missing_file(tmp_path):
    with pytest.raises(PhotoError, match=r"gone\.jpg is not there") as caught:
        read_photo(tmp_path / "gone.jpg")
    assert caught.value.trouble.code == "missing"


def test_folder_instead_of_a_file(tmp_path):
    with pytest.raises(PhotoError, match="is not a file") as caught:
        read_photo(tmp_path)
    assert caught.value.trouble.code == "unreadable"


def test_unreadable_path():
    for path in ("a" * 5000 + ".jpg", "a\0b.jpg"):
        with pytest.raises(PhotoError) as caught:
            read_photo(path)
        assert caught.value.trouble.code == "unreadable"
        assert "\0" not in caught.value.trouble.say


@pytest.mark.parametrize(
    "data",
    [
        b"hello",
        b"GIF89a" + bytes(50),
        b"%PDF-1.7\n",
        b"<svg></svg>",
        bytes(1000),
        b"\0\0\0\x18ftypmp42" + bytes(40),
    ],
)
def test_other_files_are_no_photos(data):
    refused(data, "not_an_image")


def test_empty_file():
    refused(b"", "empty")


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.999])
@pytest.mark.parametrize("options", [{}, {"progressive": True}])
def test_a_jpeg_cut_short_is_refused(share, options):
    rng = np.random.default_rng(5)
    noisy = np.clip(blocks(400, 600) + rng.normal(0, 20, (400, 600, 3)), 0, 255).astype(np.uint8)
    data = encoded(noisy, "JPEG", **options)
    refused(data[: int(len(data) * share)], "truncated")
    refused(data[: int(len(data) * share)] + bytes(4096), "truncated")  # space reserved, never filled


def test_the_end_of_an_embedded_preview_is_not_the_end_of_the_photo():
    preview = encoded(blocks(64, 64), "JPEG")
    data = encoded(blocks(400, 600), "JPEG")
    segment = b"\xff\xe1" + struct.pack(">H", len(preview) + 8) + b"Exif\0\0" + preview
    whole = data[:2] + segment + data[2:]
    assert read_photo_bytes(whole, "a").info.width == 600
    refused(whole[: len(whole) - 900], "truncated")


def test_bytes_behind_a_jpeg_do_not_matter():
    data = encoded(blocks(), "JPEG")
    clip = b"\0\0\0\x18ftypmp42" + bytes(5000)  # a short video, as some phones append
    np.testing.assert_array_equal(
        read_photo_bytes(data + clip, "a").working, read_photo_bytes(data, "a").working
    )


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "BMP", "WEBP", "HEIC"])
def test_other_formats_cut_short_are_refused(kind):
    data = (DATA / "quarters.heic").read_bytes() if kind == "HEIC" else encoded(blocks(), kind)
    with pytest.raises(PhotoError) as caught:
        read_photo_bytes(data[: len(data) * 2 // 3], "a")
    assert caught.value.trouble.code in ("truncated", "damaged")


def test_a_bomb_is_refused_from_its_header():
    assert "60000 x 60000" in refused(png_claiming(60_000, 60_000), "too_many_pixels")
    refused(png_claiming(2**31 - 1, 2**31 - 1), "too_many_pixels")


def test_the_limit_can_be_set():
    data = encoded(blocks(), "PNG")
    assert read_photo_bytes(data, "a", max_pixels=80 * 120).info.width == 120
    refused(data, "too_many_pixels", max_pixels=80 * 120 - 1)


def test_a_thumbnail_is_refused():
    refused(encoded(blocks(40, 60), "JPEG"), "too_small")


def test_a_strange_file_name_stays_on_one_line():
    name = os.fsdecode(b"caf\xe9\nunit 17.jpg")
    with pytest.raises(PhotoError) as caught:
        read_photo_bytes(b"", name)
    assert "\n" not in caught.value.trouble.say
    caught.value.trouble.say.encode()
    photo = read_photo_bytes(encoded(blocks(), "JPEG"), name)
    photo.info.name.encode()


SOUND = [
    encoded(
        blocks(64, 72), "JPEG", exif=camera_exif(gps={1: "N", 2: (1.0, 2.0, 3.0), 3: "E", 4: (1.0, 2.0, 3.0)})
    ),
    encoded(blocks(64, 72), "JPEG", progressive=True, icc_profile=matrix_profile(DISPLAY_P3, 2.2)),
    encoded(blocks(64, 72), "PNG", exif=camera_exif()),
    encoded(blocks(64, 72), "TIFF", compression="tiff_lzw"),
    encoded(blocks(64, 72), "WEBP"),
    encoded(blocks(64, 72), "BMP"),
    (DATA / "quarters.heic").read_bytes(),
]


@given(
    st.sampled_from(SOUND),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=6),
    st.floats(0, 1),
)
@example(SOUND[0], [], 1.0)
def test_damaged_files_are_read_or_refused_and_nothing_else(data, changes, kept):
    damaged = bytearray(data)
    for place, value in changes:
        damaged[int(place**2 * (len(data) - 1))] = value  # headers are hit more often
    if kept < 0.5:
        del damaged[int(2 * kept * len(data)) :]
    try:
        photo = read_photo_bytes(bytes(damaged), "IMG_0042.jpg")
    except PhotoError as error:
        assert "IMG_0042.jpg" in error.trouble.say  # noqa: PT017
    else:
        assert photo.full.shape == (photo.info.height, photo.info.width, 3)
