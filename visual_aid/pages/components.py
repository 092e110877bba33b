"""Parts of the page that run in the browser, each made of three files of this folder."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING

import streamlit as st

if TYPE_CHECKING:
    from streamlit.components.v2.types import ComponentRenderer


def component(name: str, *, first: str = "") -> ComponentRenderer:
    """Make a part of the page of ``name``.html, .css and .js, for the module of that name.

    Parameters
    ----------
    first : str
        A script that goes before that of the part.
    """

    def text(suffix: str) -> str:
        return (resources.files("visual_aid.pages") / f"{name}.{suffix}").read_text(encoding="utf-8")

    return st.components.v2.component(
        f"visual_aid.{name}", html=text("html"), css=text("css"), js=first + text("js")
    )
