"""A small yard of photos for the command line to work on."""

import numpy as np
import pytest
from PIL import Image
from skimage.draw import polygon


def nut_photo(path, seed):
    """Save a noisy plate with three hexagons on it."""
    rng = np.random.default_rng(seed)
    pixels = rng.normal(110, 12, (360, 480, 3))
    for x in (110, 240, 370):
        turn = np.radians(rng.uniform(0, 60) + np.arange(0, 360, 60))
        rows, columns = polygon(180 + 40 * np.sin(turn), x + 40 * np.cos(turn))
        pixels[rows, columns] += 70
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(pixels.clip(0, 255).astype(np.uint8)).save(path)


@pytest.fixture(name="nut_photo")
def _nut_photo():
    """Give the way to save such a photo."""
    return nut_photo


@pytest.fixture
def yard(tmp_path):
    """Three photos, one of them in a subfolder, and two files that are none."""
    folder = tmp_path / "yard"
    nut_photo(folder / "b.png", 1)
    nut_photo(folder / "c.jpg", 2)
    nut_photo(folder / "unit 7 [left]" / "b.png", 3)
    (folder / "a-cut.jpg").write_bytes((folder / "c.jpg").read_bytes()[:2000])
    (folder / "d-empty.jpg").touch()
    return folder
