"""The finder's trained weights, read once from the package."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from visual_aid.fasteners.channels import Floats
from visual_aid.fasteners.trees import Trees


@dataclass(frozen=True, slots=True)
class Weights:
    """Everything that training decides.

    Attributes
    ----------
    template : ndarray of float32, shape (CHANNELS, 2 * REACH + 1, 2 * REACH + 1)
        The proposals' linear template.
    first, second : Trees
        Log odds of 'a nut or bolt head' for a proposed circle and for a refined one.
    shift : tuple of Trees
        Where the true circle lies: x and y in radii, natural logarithm of the ratio of the radii.
    kinds : tuple of Trees
        Log odds of each of ``visual_aid.model.KINDS`` against all others.
    calibration : ndarray of float32, shape (2,)
        Slope and intercept from the second log odds to the log odds of the score.
    """

    template: Floats
    first: Trees
    second: Trees
    shift: tuple[Trees, ...]
    kinds: tuple[Trees, ...]
    calibration: Floats

    def save(self, path: str) -> None:
        """Write the weights as an .npz file."""
        arrays: dict[str, NDArray[np.generic]] = {
            "template": self.template,
            "calibration": self.calibration,
        }
        arrays |= self.first.arrays("first") | self.second.arrays("second")
        for name, group in (("shift", self.shift), ("kinds", self.kinds)):
            for k, trees in enumerate(group):
                arrays |= trees.arrays(f"{name}{k}")
        np.savez_compressed(path, allow_pickle=False, **arrays)


@cache
def load(path: str | None = None) -> Weights:
    """Read weights: those of the package, or of a training run."""
    with np.load(path or str(files("visual_aid.fasteners") / "finder.npz")) as arrays:
        return Weights(
            template=arrays["template"],
            first=Trees.from_arrays(arrays, "first"),
            second=Trees.from_arrays(arrays, "second"),
            shift=tuple(Trees.from_arrays(arrays, f"shift{k}") for k in range(3)),
            kinds=tuple(Trees.from_arrays(arrays, f"kinds{k}") for k in range(5)),
            calibration=arrays["calibration"],
        )
