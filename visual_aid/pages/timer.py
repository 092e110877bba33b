"""A timer for the waits of a hand check."""

from __future__ import annotations

from pathlib import Path

import streamlit as st


def _beside(suffix: str) -> str:
    return Path(__file__).with_suffix(suffix).read_text(encoding="utf-8")


_mount = st.components.v2.component(
    "visual_aid.timer", html=_beside(".html"), css=_beside(".css"), js=_beside(".js")
)


def show_timer(seconds: float, key: str) -> None:
    """Show a timer that counts down when started, and says when the time is over."""
    _mount(key=key, data={"seconds": seconds})
