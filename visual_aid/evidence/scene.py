"""What a cue is given and what it gives back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from visual_aid.evidence import resemblance, vacancy, zones
from visual_aid.evidence.axis import bases
from visual_aid.evidence.frame import Frame, build_frames
from visual_aid.evidence.powder import Powder, look_for_powder
from visual_aid.evidence.runs import Columns, RustRun, leaning_columns, rust_run
from visual_aid.evidence.stance import Stance, find_stances
from visual_aid.evidence.stripes import Layout, lay_out
from visual_aid.evidence.surroundings import Surroundings, look_around
from visual_aid.evidence.zones import Zones
from visual_aid.fasteners.find import Overview
from visual_aid.fasteners.patches import Image, Octaves, working_octaves
from visual_aid.fasteners.regression import Floats, Regression, StandardRegression
from visual_aid.model import NOT_IN_PLACE, Fastener, NotJudged, Outline
from visual_aid.photo import Photo

NOTHING_IN_PLACE = "no nut or bolt head was found to look at"
"""Why a cue that looks at nuts and bolt heads stays silent on a photo that shows none."""

Details = NDArray[np.float32]
Thing = TypeVar("Thing")


@dataclass(frozen=True)
class Scene:
    """A photo with its fasteners and their frames, built once and shared by all cues.

    ``frames`` are centred on the fasteners' tops, ``seats`` on where they meet the surface; ``overview`` is
    what the finder made of the photo, where it looked; ``learned`` and ``vacant`` are what gaps and vacant
    places look like, if it is not what the package knows.
    """

    photo: Photo
    fasteners: tuple[Fastener, ...]
    frames: tuple[Frame, ...]
    seats: tuple[Frame, ...]
    overview: Overview | None = None
    learned: Regression | None = None
    vacant: StandardRegression | None = None

    @classmethod
    def build(
        cls,
        photo: Photo,
        fasteners: Sequence[Fastener],
        overview: Overview | None = None,
        learned: Regression | None = None,
        vacant: StandardRegression | None = None,
    ) -> Scene:
        """Rectify every fastener's surroundings."""
        return cls(
            photo,
            tuple(fasteners),
            build_frames(photo, fasteners),
            build_frames(photo, fasteners, on_seat=True),
            overview,
            learned,
            vacant,
        )

    @cached_property
    def octaves(self) -> Octaves:
        """CIELAB octaves of the working image, for patches that are not rectified."""
        return working_octaves(self.photo) if self.overview is None else self.overview.octaves

    def patches(self, places: Sequence[Fastener]) -> Image:
        """Describe the patch around every place for ``resemblance`` and ``vacancy``, shape (N, F)."""
        return resemblance.patches(self.octaves, self.photo, places)

    def resemblance(self, patches: Image) -> Floats:
        """How much patches look like gaps, shape (N,): see ``evidence.resemblance``."""
        return (self.learned or resemblance.learned())(patches)[:, 0]

    def vacancy(self, places: Sequence[Fastener], patches: Image) -> Floats:
        """How much places look vacant, shape (N,): see ``evidence.vacancy``."""
        described = vacancy.describe(self.octaves, self.photo, places, patches)
        return (self.vacant or vacancy.learned())(described)

    @property
    def in_place(self) -> tuple[Frame, ...]:
        """Frames of nuts and bolt heads, without bare studs and empty holes."""
        return self.those_in_place(self.frames)

    def those_in_place(self, each: Sequence[Thing]) -> tuple[Thing, ...]:
        """Of things in the order of ``fasteners``, give those of nuts and bolt heads."""
        return tuple(
            thing for f, thing in zip(self.frames, each, strict=True) if f.fastener.kind not in NOT_IN_PLACE
        )

    @cached_property
    def surroundings(self) -> tuple[Surroundings, ...]:
        """The surface around every fastener, in the order of ``seats``."""
        return tuple(look_around(frame) for frame in self.seats)

    @cached_property
    def zones(self) -> tuple[Zones, ...]:
        """What ``evidence.zones`` says of the surface around every fastener, in the order of ``seats``."""
        return tuple(
            zones.describe(frame, around) for frame, around in zip(self.seats, self.surroundings, strict=True)
        )

    @cached_property
    def powder(self) -> tuple[Powder, ...]:
        """What may be powder around every fastener, in the order of ``seats``."""
        return tuple(
            look_for_powder(frame, around)
            for frame, around in zip(self.seats, self.surroundings, strict=True)
        )

    @cached_property
    def columns(self) -> tuple[tuple[Columns, ...], ...]:
        """Leaning columns below every fastener, in the order of ``seats``."""
        return tuple(leaning_columns(around.seen) for around in self.surroundings)

    @cached_property
    def rust_runs(self) -> tuple[RustRun, ...]:
        """The rust-coloured run below every fastener, in the order of ``seats``."""
        return tuple(map(rust_run, self.surroundings, self.columns))

    @cached_property
    def stances(self) -> tuple[Stance, ...]:
        """How the bodies of the fasteners in place lean from top to seat, in the order of ``in_place``."""
        return find_stances(self.in_place)

    @cached_property
    def stripes(self) -> Layout | None:
        """Paint stripes across the fasteners in place, in the order of ``in_place``; None without any."""
        return lay_out(self.in_place, bases(self.in_place, self.stances))


@dataclass(frozen=True, slots=True)
class Measurement:
    """What a cue measured at one place, before it is scored.

    Attributes
    ----------
    fastener : Fastener or None
        Where; None when the place has no fastener of its own.
    features : mapping of str to float
        What the score looks at, NaN where it cannot be measured; the same keys for all of a cue.
    measures : mapping of str to float
        The figures shown to people.
    outline : Outline
        The region, in full-photo pixels.
    reason : str
        In words with figures.
    of_fastener : bool
        Whether it stands only where the fastener is one. What asks that itself does not.
    details : ndarray of float32 or None
        What the score's trees are asked beside the features, of one length for all of a cue and NaN where it
        is not seen; None for a cue without trees.
    """

    fastener: Fastener | None
    features: Mapping[str, float]
    measures: Mapping[str, float]
    outline: Outline
    reason: str
    of_fastener: bool = True
    details: Details | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """All that one cue measured on one photo, and where it stayed silent."""

    measurements: tuple[Measurement, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
