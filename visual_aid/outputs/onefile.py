"""HTML in one file that needs nothing from elsewhere."""

from __future__ import annotations

import base64
import functools
from importlib import resources

import jinja2


def render(template: str, **values: object) -> str:
    """Fill a template of this folder; every text is escaped, pictures go in with the filter ``jpeg``."""
    page = _environment().from_string(beside(template)).render(**values)
    # What no text file may hold becomes a space; half of a letter becomes a question mark.
    return "".join(c if c >= " " or c in "\n\t" else " " for c in page.encode("utf-8", "replace").decode())


def beside(name: str) -> str:
    """Give the text of a file of this folder."""
    return (resources.files("visual_aid.outputs") / name).read_text(encoding="utf-8")


def jpeg_url(jpeg: bytes) -> str:
    """Give a JPEG file as an address that holds it."""
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}"


@functools.cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["jpeg"] = jpeg_url
    return environment
