import pytest

from visual_aid.records import quizzes
from visual_aid.records.store import Store
from visual_aid.records.teaching import Answer, Item, Region, Tap

REGION = Region(
    "gap", (1.0, 2.0, 3.0, 4.0), ((1.0, 2.0), (4.0, 2.0), (4.0, 6.0)), "0.2 r wide", "faint", "person", 3
)
ITEMS = (Item("a", 200, 100, (REGION,), (), ((5.0, 5.0, 5.0, 5.0),)), Item("b", 200, 100, (), (REGION,)))


@pytest.fixture
def quiz(store):
    return store.quizzes.add("May", 7, ITEMS, by="Mo")


def test_a_quiz_is_kept_as_drawn(store, database, tmp_path, quiz):
    assert quiz.items == ITEMS
    store.close()
    assert Store.open(database, photos=tmp_path).quizzes.quiz(quiz.token) == quiz


def test_answers_are_given_once(store, quiz):
    sitting = store.quizzes.begin(quiz, "Ada", "Night crew")
    first = Answer(1, (Tap(1.5, 2.5, "gap"),))
    store.quizzes.answer(sitting, [first])
    done = store.quizzes.answer(sitting, [Answer(1), Answer(0)])
    assert done.answers == (first, Answer(0))
    assert done.is_complete
    assert store.quizzes.sittings() == (done,)


def test_a_sitting_is_found_again_by_its_token(store, quiz):
    sitting = store.quizzes.begin(quiz, "Ada")
    store.quizzes.answer(sitting, [Answer(0)])
    assert store.quizzes.begin(quiz, "Ada", token=sitting.token).answers == (Answer(0),)
    other = store.quizzes.add("June", 8, ITEMS[:1], by="Mo")
    with pytest.raises(ValueError, match="another quiz"):
        store.quizzes.begin(other, "Ada", token=sitting.token)


def test_of_one_sitting_no_other_quiz_and_no_other_answer_is_read(store, quiz, monkeypatch):
    other = store.quizzes.add("June", 8, ITEMS[:1], by="Mo")
    store.quizzes.answer(store.quizzes.begin(other, "Bo"), [Answer(0, (Tap(1.0, 1.0, "gap"),) * 3)])
    store.quizzes.answer(store.quizzes.begin(quiz, "Bo"), [Answer(0, (Tap(1.0, 1.0, "gap"),) * 3)])
    sitting = store.quizzes.begin(quiz, "Ada")
    tap, item, parsed = quizzes.tap_from_dict, quizzes.item_from_dict, []
    monkeypatch.setattr(quizzes, "tap_from_dict", lambda data: parsed.append("tap") or tap(data))
    monkeypatch.setattr(quizzes, "item_from_dict", lambda data: parsed.append("item") or item(data))
    done = store.quizzes.answer(sitting, [Answer(0, (Tap(1.5, 2.5, "gap"),))])
    assert parsed == ["item", "item", "tap"]
    assert store.quizzes.sitting(sitting.token) == done
    assert store.quizzes.begin(quiz, "Ada", token=sitting.token) == done
    assert parsed == ["item", "item", "tap"] * 3
    assert store.quizzes.sitting("nowhere") is None
    assert store.quizzes.quiz(other.token) == other
    assert parsed == [*["item", "item", "tap"] * 3, "item"]
    assert [len(s.answers) for s in store.quizzes.sittings()] == [1, 1, 1]


def test_what_makes_no_sense_is_refused(store, quiz):
    with pytest.raises(ValueError, match="name of the person"):
        store.quizzes.begin(quiz, "")
    with pytest.raises(ValueError, match="no photo 3"):
        store.quizzes.answer(store.quizzes.begin(quiz, "Ada"), [Answer(2)])
    with pytest.raises(ValueError, match="at least one photo"):
        store.quizzes.add("May", 7, [], by="Mo")
    with pytest.raises(KeyError):
        store.quizzes.quiz("nowhere")
