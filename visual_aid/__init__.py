"""Find and measure photo evidence of loosening joints, for a person to decide on.

The names in ``__all__`` are what other programs may build on: reading a photo, screening it, and the records
that come of it. They keep their meaning between versions as the JSON record does. Each is imported when it is
first asked for, so that the command line answers ``--help`` without loading any image library.

Every other module is the program's own.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from visual_aid.decoder import read_photo
    from visual_aid.fasteners.pointed import others_like
    from visual_aid.model import (
        Candidate,
        Fastener,
        NotJudged,
        PhotoInfo,
        Problem,
        Quality,
        Screening,
        Trouble,
    )
    from visual_aid.photo import Photo, PhotoError
    from visual_aid.screening import screen_photo

__version__ = "0.13.0"

__all__ = [
    "Candidate",
    "Fastener",
    "NotJudged",
    "Photo",
    "PhotoError",
    "PhotoInfo",
    "Problem",
    "Quality",
    "Screening",
    "Trouble",
    "__version__",
    "others_like",
    "read_photo",
    "screen_photo",
]

_HOMES = {
    "Photo": "photo",
    "PhotoError": "photo",
    "others_like": "fasteners.pointed",
    "read_photo": "decoder",
    "screen_photo": "screening",
}
"""Modules of the public names; the others are records of ``model``."""

if not TYPE_CHECKING:  # a type checker shall know the names above and no others

    def __getattr__(name: str) -> object:
        """Import a public name when it is first asked for (PEP 562)."""
        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        found = getattr(import_module(f"{__name__}.{_HOMES.get(name, 'model')}"), name)
        globals()[name] = found
        return found

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
