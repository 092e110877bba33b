"""Write what was learned: whole, or what stood there before stays."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from visual_aid.files import write_atomically


def write_arrays(path: Path, arrays: Mapping[str, NDArray[Any]]) -> None:
    """Write arrays as an .npz file of exactly this name; a crash half-way leaves no half of it.

    Raises
    ------
    OSError
        The folder cannot be made or written.
    """
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    write_atomically(path, buffer.getvalue())
