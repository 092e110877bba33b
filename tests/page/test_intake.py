import datetime as dt
import io

import pytest
from PIL import Image

from visual_aid.pages.intake import point_out_fastener, take_file, take_upload


def test_an_upload_is_screened_and_its_bytes_kept(store, picture):
    taken = take_upload(store, picture(), "IMG_7.jpg")
    assert taken.kept
    (entry,) = store.worklist()
    assert entry.photo.name == "IMG_7.jpg"
    assert store.file(entry.photo).read_bytes() == picture()


def test_the_small_picture_is_made_while_the_photo_is_at_hand(store, picture):
    take_upload(store, picture(), "IMG_7.jpg")
    (entry,) = store.worklist()
    store.file(entry.photo).unlink()
    # 1200 x 1600 upright, however it is stored.
    with Image.open(io.BytesIO(store.thumb(entry.photo))) as small:
        assert small.width * 4 == small.height * 3


def test_a_photo_on_this_machine_stays_where_it_is(store, picture, tmp_path):
    path = tmp_path / "IMG_7.jpg"
    path.write_bytes(picture())
    assert take_file(store, path).kept
    assert store.file(store.worklist()[0].photo) == path


@pytest.mark.parametrize(
    ("data", "say"),
    [(b"", "IMG_7.jpg is empty"), (b"GIF89a, or so it says", "IMG_7.jpg is no photo")],
)
def test_a_refused_file_says_why_and_leaves_nothing(store, data, say):
    taken = take_upload(store, data, "IMG_7.jpg")
    assert not taken.kept
    assert taken.say.startswith(say)
    assert store.worklist() == ()


def test_what_is_to_decide_is_told_by_the_threshold_in_use(store, picture, screened, monkeypatch):
    data = {n: picture(n) for n in (1, 2)}
    records = iter([screened(data[1]), screened(data[2])])  # scores of 0.88 and 0.4
    monkeypatch.setattr("visual_aid.pages.intake.screen_photo", lambda photo: next(records))
    store.tunings.set_threshold(0.5, by="J. Doe")
    assert take_upload(store, data[1], "a.jpg").say == "a.jpg: 1 mark to decide on."
    store.tunings.set_threshold(0.9, by="J. Doe")
    assert take_upload(store, data[2], "b.jpg").say == "b.jpg: weak marks only."
    assert store.stages() == {"weak_only": 2}


def test_a_photo_on_which_the_engine_fails_does_not_cost_the_others(store, picture, monkeypatch):
    def fail(photo, fasteners=None):
        raise RuntimeError("out of its depth")

    monkeypatch.setattr("visual_aid.pages.intake.screen_photo", fail)
    taken = take_upload(store, picture(), "IMG_7.jpg")
    assert (taken.kept, "IMG_7.jpg made the engine fail" in taken.say) == (False, True)
    assert store.worklist() == ()


def test_a_photo_that_is_there_is_not_added_again(store, picture):
    take_upload(store, picture(), "IMG_7.jpg")
    taken = take_upload(store, picture(), "copy.jpg")
    assert (taken.kept, taken.say) == (True, "copy.jpg is in the records already.")
    assert len(store.worklist()) == 1


def test_photos_added_without_a_unit_number_join_the_visit_under_which_they_are_added_again(store, picture):
    take_upload(store, picture(), "IMG_7.jpg")
    day = dt.date(2026, 5, 4)
    first, second = (store.visits.begin(unit, day, inspector="J. Doe") for unit in ("417", "418"))
    says = [take_upload(store, picture(), "IMG_7.jpg", visit).say for visit in (first, second)]
    assert says == [
        "IMG_7.jpg is in the records already, at this visit.",
        "IMG_7.jpg is in the records already, under Unit 417, 4 May 2026, and stays there.",
    ]
    assert [photo.visit for photo in store.visits.photos(first.id)] == [first]
    assert store.visits.photos(second.id) == ()


def test_a_missed_fastener_is_added_where_it_was_tapped(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    again = point_out_fastener(store, photo, 400.0, 600.0, None)
    (added,) = [f for f in again.screening.fasteners if (f.cx, f.cy) == (400.0, 600.0)]
    assert added.radius == pytest.approx(60.0, abs=0.1)  # as the only other fastener on the photo
    assert len(again.screening.fasteners) == 2


def test_a_drawn_fastener_has_the_drawn_size(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    again = point_out_fastener(store, photo, 400.0, 600.0, 88.0)
    assert [f.radius for f in again.screening.fasteners if f.cx == 400.0] == [88.0]


def test_a_tapped_circle_is_taken_off(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    again = point_out_fastener(store, photo, 860.0, 220.0, None)
    assert again.screening.fasteners == ()
    assert store.photo(photo.id) == again


def test_an_upload_that_ends_the_decoder_costs_itself_alone(store, picture, troublemaker):
    taken = take_upload(store, picture(), "fatal.heic")
    assert (taken.kept, taken.say) == (
        False,
        "fatal.heic ended the process that decodes photos: save it as a smaller JPEG.",
    )
    assert take_upload(store, picture(), "IMG_7.jpg").kept
