"""A timer for the waits of a hand check."""

from __future__ import annotations

from visual_aid.pages.components import component

_mount = component("timer")


def show_timer(seconds: float, key: str) -> None:
    """Show a timer that counts down when started, and says when the time is over."""
    _mount(key=key, data={"seconds": seconds})
