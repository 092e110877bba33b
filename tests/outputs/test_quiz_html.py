import datetime as dt
import json
import re

import numpy as np
import pytest

from visual_aid.outputs.quiz_html import choices, quiz_html, read_answers
from visual_aid.records.teaching import Answer, Item, Quiz, Region, Tap

AT = dt.datetime(2026, 5, 4, tzinfo=dt.UTC)
RUST = Region("rust_trail", (10.0, 10.0, 20.0, 20.0), ((10, 10), (30, 10), (30, 30)), "</script><b>a run</b>")
CHAFE = Region("chafe", (10.0, 10.0, 20.0, 20.0), ((10, 10), (30, 10), (30, 30)))


def quiz(*items):
    return Quiz(1, "token", "May & <June>", 1, items, "Mo", AT)


def pixels(photo):
    return np.full((100, 200, 3), 120, np.uint8)


def test_the_file_needs_nothing_and_no_text_breaks_out():
    html = quiz_html(quiz(Item("secret-id", 200, 100, (RUST,)), Item("other", 200, 100)), pixels)
    assert "May &amp; &lt;June&gt;" in html
    assert html.count("</script>") == 2
    assert "default-src 'none'" in html
    assert "secret-id" not in html
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", html)
    data = json.loads(re.search(r'id="quiz">(.*?)</script>', html, re.DOTALL)[1])
    assert data["items"][0]["truth"]["evidence"][0]["say"] == "</script><b>a run</b>"
    # 3 % of the longer side of 200 pixels is 6.
    assert data["items"][0]["truth"]["evidence"][0]["reach"] == [4, 4, 32, 32]


def test_wear_is_offered_where_the_quiz_has_any():
    assert len(choices(quiz(Item("a", 200, 100, (RUST,))))) == 7
    assert "chafe" in [c["cue"] for c in choices(quiz(Item("a", 200, 100, (), (CHAFE,))))]


def answers(**changes):
    taps = [{"x": 1.5, "y": 2, "cue": "gap"}]
    whole = {
        "schema": "visual-aid/quiz-answers/1",
        "quiz": "token",
        "sitting": "abc",
        "trainee": "Ada",
        "group": "Night",
        "answers": [{"item": 0, "taps": taps}, {"item": 1, "taps": []}],
    }
    return json.dumps(whole | changes).encode()


def test_answers_come_back_as_they_were_given():
    found = read_answers(answers(), "a.json")
    assert (found.quiz, found.sitting, found.trainee, found.group) == ("token", "abc", "Ada", "Night")
    assert found.answers == (Answer(0, (Tap(1.5, 2.0, "gap"),)), Answer(1))


@pytest.mark.parametrize(
    "changes",
    [
        {"schema": "other"},
        {"answers": 3},
        {"answers": [{"item": "x", "taps": []}]},
        {"answers": [{"item": 0, "taps": [{"x": float("nan"), "y": 0, "cue": "gap"}]}]},
        {"answers": [{"item": 0, "taps": [{"x": 0, "y": 0, "cue": "loose"}]}]},
        {"trainee": " "},
        {"sitting": ""},
    ],
)
def test_what_makes_no_sense_is_refused_by_name(changes):
    with pytest.raises(ValueError, match=r"^a\.json "):
        read_answers(answers(**changes), "a.json")
