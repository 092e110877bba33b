from visual_aid.pages import actions


def test_the_next_undecided_candidate_follows_and_the_last_stays(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    first, second = (c.id for c in store.candidates(photo.id))
    assert actions.first_open(store.candidates(photo.id)) == first
    assert actions.decide(store, photo.id, first, "confirmed", by="J. Doe", note="seen") == second
    assert actions.first_open(store.candidates(photo.id)) == second
    assert actions.decide(store, photo.id, second, "ruled_out", by="J. Doe") == second
    assert [c.outcome for c in store.candidates(photo.id)] == ["confirmed", "ruled_out"]
    assert store.history(first)[0].note == "seen"


def test_deciding_out_of_order_comes_back_to_what_is_left(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    first, second = (c.id for c in store.candidates(photo.id))
    assert actions.decide(store, photo.id, second, "cannot_tell", by="J. Doe") == first


def test_undo_goes_back_to_what_was_decided_last(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    first, second = (c.id for c in store.candidates(photo.id))
    actions.decide(store, photo.id, second, "confirmed", by="J. Doe")
    actions.decide(store, photo.id, first, "confirmed", by="J. Doe")
    assert actions.undo(store, photo.id, by="J. Doe") == first
    assert actions.undo(store, photo.id, by="J. Doe") == second
    assert actions.undo(store, photo.id, by="J. Doe") is None
    assert [c.outcome for c in store.candidates(photo.id)] == [None, None]


def test_undoing_a_mark_goes_to_what_is_left(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    store.mark(photo.id, "gap", (1.0, 1.0, 5.0, 5.0), by="J. Doe")
    assert actions.undo(store, photo.id, by="J. Doe") == store.candidates(photo.id)[0].id


def test_steps_go_around_the_ends(store, picture, screened):
    photo = store.add_photo(screened(picture()), data=picture())
    candidates = store.candidates(photo.id)
    first, second = (c.id for c in candidates)
    assert actions.neighbour(candidates, second, 1) == first
    assert actions.neighbour(candidates, first, -1) == second


def test_a_photo_with_nothing_flagged_has_nothing_to_choose(store, picture, screened):
    photo = store.add_photo(screened(picture(), flags=False), data=picture())
    assert actions.first_open(store.candidates(photo.id)) is None
