"""How far up the worklist a photo belongs."""

from __future__ import annotations

from collections.abc import Iterable

USUAL_FASTENERS = 5
"""Fasteners on a usual photo of a joint, for which priority is the chance that a candidate stands."""


def priority(best: Iterable[float], fasteners: int) -> float:
    """Chance that at least one candidate stands, allowing for how many places were looked at.

    Candidates of one cue share their photo's paint, light and dirt, and so their look-alikes: if the best
    of them is false, the others are too, more often than not. So each cue counts once, by its best; cues
    count as independent of one another. The best of many looks like evidence by chance more easily than the
    best of few, so its odds are shared among the fasteners (as Bonferroni shares a level among comparisons).

    Parameters
    ----------
    best : iterable of float, 0 to 1
        Highest score of each cue.
    fasteners : int
        Fasteners on the photo.

    Returns
    -------
    float
        0 to 1; with ``USUAL_FASTENERS`` the chance itself, with more less, with fewer more.
    """
    share = USUAL_FASTENERS / max(fasteners, 1)
    none = 1.0
    for score in best:
        none *= (1 - score) / (1 - score + share * score)
    return 1 - none
