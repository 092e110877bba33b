"""The finder's trained weights, read once from the package."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from visual_aid.fasteners.channels import Floats
from visual_aid.fasteners.trees import Arrays, Trees

GROUPS = {"coarse_shift": 3, "shift": 3, "kinds": 5}


@dataclass(frozen=True, slots=True)
class Weights:
    """Everything that training decides.

    Attributes
    ----------
    template : ndarray of float32, shape (CHANNELS, 2 * REACH + 1, 2 * REACH + 1)
        The proposals' linear template.
    coarse, fine, final : Trees
        Log odds of 'a nut or bolt head' from ring sums, from patches, from patches of settled circles.
    coarse_shift, shift : tuple of Trees
        Where the true circle lies: x and y in radii, natural logarithm of the ratio of the radii.
    kinds : tuple of Trees
        Log odds of each of ``visual_aid.model.KINDS``: nuts and bolt heads against each other, bare studs and
        empty holes against everything else.
    context : Trees
        Log odds of the score, from the final log odds of a find and of those around it.
    """

    template: Floats
    coarse: Trees
    fine: Trees
    final: Trees
    coarse_shift: tuple[Trees, ...]
    shift: tuple[Trees, ...]
    kinds: tuple[Trees, ...]
    context: Trees

    def arrays(self) -> Arrays:
        """Name the arrays for an .npz file."""
        arrays: Arrays = {"template": self.template}
        for name in ("coarse", "fine", "final", "context"):
            arrays |= getattr(self, name).arrays(name)
        for name, count in GROUPS.items():
            for k in range(count):
                arrays |= getattr(self, name)[k].arrays(f"{name}{k}")
        return arrays


@cache
def load(path: str | None = None) -> Weights:
    """Read weights: those of the package, or of a training run."""
    with np.load(path or str(files("visual_aid.fasteners") / "finder.npz")) as arrays:

        def group(name: str) -> tuple[Trees, ...]:
            return tuple(Trees.from_arrays(arrays, f"{name}{k}") for k in range(GROUPS[name]))

        return Weights(
            template=arrays["template"],
            coarse=Trees.from_arrays(arrays, "coarse"),
            fine=Trees.from_arrays(arrays, "fine"),
            final=Trees.from_arrays(arrays, "final"),
            coarse_shift=group("coarse_shift"),
            shift=group("shift"),
            kinds=group("kinds"),
            context=Trees.from_arrays(arrays, "context"),
        )
