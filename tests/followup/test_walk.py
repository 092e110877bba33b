import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from visual_aid.followup.walk import Shot, guess, other_side_missing, usual_route, walked_route

ROUTE = usual_route(2, ["wheel end", "torque rod"])
START = dt.datetime(2026, 5, 4, 7, 12)


def walk(*stops, said=None, pause=45, timed=True):
    """Give shots, so many at each stop, five seconds apart; ``said`` by the number of the shot."""
    shots, at = [], START
    for count in stops:
        for _ in range(count):
            shots.append(Shot(str(len(shots)), at if timed else None, (said or {}).get(len(shots))))
            at += dt.timedelta(seconds=5)
        at += dt.timedelta(seconds=pause)
    return shots


def test_the_usual_way_leads_down_the_left_and_up_the_right():
    assert ROUTE == (
        (1, "left", "wheel end"),
        (1, "left", "torque rod"),
        (2, "left", "wheel end"),
        (2, "left", "torque rod"),
        (2, "right", "torque rod"),
        (2, "right", "wheel end"),
        (1, "right", "torque rod"),
        (1, "right", "wheel end"),
    )


def test_photos_between_pauses_are_of_one_place():
    guesses = guess(walk(2, 3, 1), ROUTE)
    assert [guesses[str(i)] for i in range(6)] == [ROUTE[0]] * 2 + [ROUTE[1]] * 3 + [ROUTE[2]]


def test_without_times_photos_are_spread_over_the_route():
    guesses = guess(walk(16, timed=False), ROUTE)
    assert [guesses[str(i)] for i in range(16)] == [spot for spot in ROUTE for _ in range(2)]


def test_a_correction_moves_what_comes_after_and_before():
    guesses = guess(walk(2, 2, 2, said={2: ROUTE[4]}), ROUTE)
    assert "2" not in guesses
    assert guesses == {"0": ROUTE[3], "1": ROUTE[3], "3": ROUTE[4], "4": ROUTE[5], "5": ROUTE[5]}


def test_beyond_the_route_nothing_is_guessed():
    guesses = guess(walk(1, 1, 1, said={0: ROUTE[-2]}), ROUTE)
    assert guesses == {"1": ROUTE[-1]}


def test_a_place_off_the_route_is_no_anchor_but_holds_for_its_stop():
    valve = (3, "centre", "height-control valve")
    guesses = guess(walk(1, 2, 1, said={1: valve}), ROUTE)
    assert guesses == {"0": ROUTE[0], "2": valve, "3": ROUTE[2]}


def test_two_places_said_are_two_stops_even_without_a_pause():
    guesses = guess(walk(4, said={0: ROUTE[0], 2: ROUTE[1]}), ROUTE)
    assert guesses == {"1": ROUTE[0], "3": ROUTE[1]}


def test_the_way_walked_has_each_place_once():
    shots = walk(1, 1, 1, 1, said={0: ROUTE[2], 1: ROUTE[0], 2: ROUTE[2]})
    assert walked_route(shots) == (ROUTE[2], ROUTE[0])
    assert guess([], ROUTE) == guess(walk(2), ()) == {}


def test_what_was_seen_on_one_side_is_missing_on_the_other():
    seen = [(1, "left", "rod"), (1, "right", "rod"), (2, "right", "rod"), (2, "centre", "valve")]
    assert other_side_missing(seen) == ((2, "left", "rod"),)


@given(
    st.lists(st.integers(1, 4), max_size=12),
    st.dictionaries(st.integers(0, 40), st.sampled_from(ROUTE)),
    st.booleans(),
)
def test_what_was_said_is_never_guessed_again_and_guesses_are_on_the_route(stops, said, timed):
    shots = walk(*stops, said=said, timed=timed)
    guesses = guess(shots, ROUTE)
    assert not guesses.keys() & {shot.id for shot in shots if shot.said}
    assert set(guesses.values()) <= set(ROUTE)
