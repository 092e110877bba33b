"""The names that other programs build on."""

import subprocess
import sys
from pathlib import Path

import pytest

import visual_aid
from visual_aid import decoder, model, photo, screening
from visual_aid.fasteners import pointed

HOMES = {
    "read_photo": decoder,
    "screen_photo": screening,
    "others_like": pointed,
    "Photo": photo,
    "PhotoError": photo,
}


@pytest.mark.parametrize("name", visual_aid.__all__)
def test_each_public_name_is_the_program_s_own_and_documented(name):
    if name == "__version__":
        return
    public = getattr(visual_aid, name)
    assert public is getattr(HOMES.get(name, model), name)
    assert public.__doc__
    assert name in dir(visual_aid)


def test_other_names_are_refused_as_by_any_module():
    with pytest.raises(AttributeError, match=r"module 'visual_aid' has no attribute 'screen_everything'"):
        _ = visual_aid.screen_everything
    with pytest.raises(ImportError):
        from visual_aid import sreen_photo  # noqa: F401


def test_nothing_is_loaded_before_it_is_asked_for():
    ask = (
        "import sys, visual_aid\n"
        "print(sorted(m for m in sys.modules if m.startswith('visual_aid')), 'numpy' in sys.modules)\n"
        "visual_aid.Screening\n"
        "print('numpy' in sys.modules)\n"
        "from visual_aid import *\n"
        "print(callable(screen_photo), 'numpy' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert run.stdout.splitlines() == ["['visual_aid'] False", "False", "True True"]


def test_a_type_checker_finds_the_types():
    assert Path(visual_aid.__file__).with_name("py.typed").is_file()
