"""Colour as light and as the eye sees it: linear sRGB, CIELAB D65 and colour differences."""

from __future__ import annotations

from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

_ENCODED = np.arange(256) / 255.0
_LINEAR = np.where(_ENCODED <= 0.04045, _ENCODED / 12.92, ((_ENCODED + 0.055) / 1.055) ** 2.4).astype(
    np.float32
)


def srgb_to_linear(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Undo the sRGB encoding, so that values add up as light does.

    Parameters
    ----------
    rgb : ndarray of any shape, uint8
        sRGB values.

    Returns
    -------
    ndarray of the same shape, float32
        Linear values, 0 to 1.

    References
    ----------
    IEC 61966-2-1.
    """
    if rgb.size == 0:  # which OpenCV refuses, and an empty mask asks for
        return np.zeros(rgb.shape, np.float32)
    return cast("NDArray[np.float32]", cv2.LUT(rgb.reshape(1, -1), _LINEAR)).reshape(rgb.shape)


def srgb_to_lab(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Convert sRGB to CIELAB (D65, 2 degree observer).

    Within 0.05 of the exact formula; the light is linearised here because the converter's own float
    path from encoded sRGB interpolates a coarse table and is off by up to 0.45.

    Parameters
    ----------
    rgb : ndarray of shape (..., 3), uint8
        sRGB values.

    Returns
    -------
    ndarray of the same shape, float32
        L from 0 to 100, a and b about -108 to 98.

    References
    ----------
    IEC 61966-2-1; CIE 15, 1976 formulas.
    """
    linear = srgb_to_linear(rgb)
    if rgb.size == 0:
        return linear
    lab = cv2.cvtColor(linear.reshape(1, -1, 3), cv2.COLOR_LRGB2LAB)
    return cast("NDArray[np.float32]", lab).reshape(rgb.shape)


def delta_e76(lab1: NDArray[np.floating], lab2: NDArray[np.floating]) -> NDArray[np.floating]:
    """Give the Euclidean colour difference in CIELAB (CIE 1976).

    Parameters
    ----------
    lab1, lab2 : ndarray of shapes (..., 3) that broadcast
        CIELAB colours.

    Returns
    -------
    ndarray of shape (...)
        About 2.3 is just noticeable side by side (Mahy et al. 1994, from memory).
    """
    return cast("NDArray[np.floating]", np.sqrt(((lab1 - lab2) ** 2).sum(-1)))


def ciede2000(lab1: NDArray[np.floating], lab2: NDArray[np.floating]) -> NDArray[np.floating]:
    """Give the CIEDE2000 colour difference with all weights 1.

    Dearer than ``delta_e76`` and closer to the eye where colours are strong: for patches, not for
    whole photos.

    Parameters
    ----------
    lab1, lab2 : ndarray of shapes (..., 3) that broadcast
        CIELAB colours.

    Returns
    -------
    ndarray of shape (...)

    References
    ----------
    Sharma, Wu, Dalal, Color Res. Appl. 30(1):21-30 (2005), equations 2 to 22.
    """
    L1, a1, b1 = np.moveaxis(np.asarray(lab1, float), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(lab2, float), -1, 0)

    chroma = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    stretch = 1.5 - 0.5 * _saturating(chroma)
    C1, C2 = np.hypot(a1 * stretch, b1), np.hypot(a2 * stretch, b2)
    h1 = np.degrees(np.arctan2(b1, a1 * stretch)) % 360
    h2 = np.degrees(np.arctan2(b2, a2 * stretch)) % 360

    turn = h2 - h1
    turn = turn - 360 * np.round(turn / 360)  # the short way round; +180 and -180 stay as they are
    dL, dC, dH = L2 - L1, C2 - C1, 2 * np.sqrt(C1 * C2) * np.sin(np.radians(turn) / 2)

    L, C = (L1 + L2) / 2, (C1 + C2) / 2
    halfway = np.where(np.abs(h1 - h2) <= 180, 0, np.where(h1 + h2 < 360, 180, -180))
    h = np.where(C1 * C2 == 0, h1 + h2, (h1 + h2) / 2 + halfway)

    T = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )
    SL = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    SC = 1 + 0.045 * C
    SH = 1 + 0.015 * C * T
    RT = -2 * _saturating(C) * np.sin(np.radians(60 * np.exp(-(((h - 275) / 25) ** 2))))
    l_, c_, h_ = dL / SL, dC / SC, dH / SH
    square = l_**2 + c_**2 + h_**2 + RT * c_ * h_
    return cast("NDArray[np.floating]", np.sqrt(np.maximum(square, 0.0)))


def _saturating(chroma: NDArray[np.floating]) -> NDArray[np.floating]:
    """Give the share, 0 to 1, of the correction that applies at high chroma."""
    return cast("NDArray[np.floating]", np.sqrt(chroma**7 / (chroma**7 + 25.0**7)))
