"""What keeps a decision from being recorded is told on the page."""

from types import SimpleNamespace

import pytest

from visual_aid.pages import deciding
from visual_aid.records.entries import OvertakenError


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (OvertakenError("J. Doe is at work on this"), "J. Doe is at work on this"),
        (OSError(28, "the disk of the records is full"), "The disk of the records is full."),
        (OSError("the folder is gone"), "The folder is gone."),
    ],
)
def test_trouble_is_told(monkeypatch, error, told):
    monkeypatch.setattr(deciding.st, "session_state", state := SimpleNamespace())
    with deciding.telling_trouble():
        raise error
    assert state.trouble == told


def test_what_is_a_fault_of_the_program_is_not_swallowed():
    with pytest.raises(KeyError), deciding.telling_trouble():
        raise KeyError("candidate")
