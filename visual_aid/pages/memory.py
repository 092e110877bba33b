"""What the page's server asks of the system's memory."""

from __future__ import annotations

import ctypes
import sys

LARGE = 1 << 20
"""Bytes from which a block has pages of its own. The C library's own limit, 128 kB at first, grows to 32 MB
with the blocks that are let go of (mallopt(3), M_MMAP_THRESHOLD)."""
_M_MMAP_THRESHOLD = -3  # malloc.h of the GNU C library


def give_large_arrays_back() -> bool:
    """Have the arrays of a screened photo go back to the system as soon as they are let go of.

    Otherwise they lie between smaller things in the heap of whichever thread screened the photo, and a
    server that works for days grows by the holes that they leave. Screening costs the same either way.

    Returns
    -------
    bool
        Whether the C library can be told: the GNU one can, others are left as they are.
    """
    if not sys.platform.startswith("linux"):
        return False
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    return mallopt is not None and mallopt(_M_MMAP_THRESHOLD, LARGE) == 1
