"""A guard against presses that nobody can mean: too soon after a question, or of a key that is held."""

from __future__ import annotations

from collections.abc import Sequence

from visual_aid.pages.components import component

_mount = component("glance")


def guard_presses(keys: Sequence[str]) -> None:
    """Keep the buttons that decide, and these keys for them, from a press before anybody can have looked."""
    _mount(key="glance", data={"keys": list(keys)})
