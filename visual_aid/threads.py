"""Keep the numeric libraries of a process to one thread, where processes share a machine's cores."""

from __future__ import annotations

import cv2
from threadpoolctl import threadpool_limits


def one_thread() -> None:
    """Keep OpenCV and the matrix products of NumPy to one thread in this process, for good.

    The engine's products are small: split over threads they take as long, and twice the processor time.
    """
    cv2.setNumThreads(1)
    threadpool_limits(limits=1)
