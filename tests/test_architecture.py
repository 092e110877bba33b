"""Imports run one way, the way of the data: what comes early knows nothing of what comes late."""

import ast
from pathlib import Path

import pytest

import visual_aid

PACKAGE = Path(visual_aid.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))

# A part may import from its own rank and from those above it. The package itself shows the engine's faces.
RANKS = (
    ("model", "files", "priority", "threads"),
    ("exif",),
    ("photo", "decoder", "colour", "quality", "quantiles", "likeness"),
    ("fasteners",),
    ("evidence",),
    ("wear", "measure"),
    ("screening", "__init__"),
    ("backlog",),
    ("records",),
    ("followup",),
    ("gallery",),
    ("outputs",),
    ("evaluation",),
    ("training",),
    ("pages",),
    ("cli",),
)
RANK = {part: rank for rank, parts in enumerate(RANKS) for part in parts}
ENGINE_ENDS = RANK["screening"]

# Who alone may import what is heavy, bound to one face, or bound to the database.
KEPT_TO = {
    "streamlit": {"pages"},
    "pandas": {"pages"},
    "sqlalchemy": {"records"},
    "alembic": {"records"},
    "rich": {"cli"},
    "distributed": {"backlog"},
    "click": {"cli", "training"},
    "reportlab": {"outputs"},
    "jinja2": {"outputs"},
}


def part_of(module):
    return module.relative_to(PACKAGE).with_suffix("").parts[0]


def imports_of(source):
    """Every module that a source text imports, wherever in the text: 'package.module'."""
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written out in full"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def parts_imported(source):
    """Parts of visual_aid that a source text imports; the package's own name and version aside."""
    names = [name.split(".") for name in imports_of(source)]
    return {name[1] for name in names if name[0] == "visual_aid" and len(name) > 1} - {"__version__"}


def test_the_reading_of_imports_sees_every_kind():
    source = "import visual_aid.pages.server\ndef f():\n from visual_aid import cli, __version__\n import cv2"
    assert parts_imported(source) == {"pages", "cli"}
    assert "cv2" in imports_of(source)


def test_every_part_has_a_rank():
    assert {part_of(module) for module in MODULES} <= RANK.keys()


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_imports_run_down_the_data_s_way(module):
    part = part_of(module)
    upward = {other for other in parts_imported(module.read_text()) if RANK[other] > RANK[part]}
    assert not upward, f"{part} comes before {upward} on the data's way"


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_heavy_libraries_are_kept_to_their_part(module):
    part = part_of(module)
    libraries = {name.split(".")[0] for name in imports_of(module.read_text())}
    strays = {library for library in libraries if part not in KEPT_TO.get(library, {part})}
    assert not strays, f"{strays} are not for {part}"


# Training alone reads what its own people labelled.
@pytest.mark.parametrize(
    "module",
    [m for m in MODULES if part_of(m) not in ("photo", "decoder", "training")],
    ids=lambda m: str(m.relative_to(PACKAGE)),
)
def test_photos_are_decoded_apart(module):
    within = {f"visual_aid.photo.{name}" for name in ("read_photo", "read_photo_bytes")}
    strays = imports_of(module.read_text()) & within
    assert not strays, "read photos by visual_aid.decoder, which has limits of time and memory"


@pytest.mark.parametrize(
    "module",
    [m for m in MODULES if RANK[part_of(m)] <= ENGINE_ENDS],
    ids=lambda m: str(m.relative_to(PACKAGE)),
)
def test_the_engine_knows_no_network(module):
    libraries = {name.split(".")[0] for name in imports_of(module.read_text())}
    assert not libraries & {"urllib", "http", "socket", "requests", "fsspec", "dask"}
