from hypothesis import given
from hypothesis import strategies as st

from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from monitor.moments import Moment, Moments, before_flag, before_mark


def test_a_flag_is_seen_coming_for_a_second_and_a_mark_with_all_that_may_have_been_felt() -> None:
    flag = Flag(7, Kind.MISSING_ACKNOWLEDGEMENT, Severity.FAULT, 4, None, 754.2, 755.0, 3, "")
    assert before_flag(flag) == Moment(753.2, "0:12:34 missing-acknowledgement cyl 4")
    assert before_mark(Mark(1, 754.2, "key")) == Moment(750.2, "0:12:34 mark by key")


def test_what_comes_at_once_is_seen_from_the_first_sample() -> None:
    assert before_mark(Mark(1, 0.5, "key")).at_s == 0.0


def test_from_the_place_before_a_flag_the_next_one_is_another_and_so_is_the_one_before() -> None:
    known = Moments()
    for at_s in (5.0, 9.0, 1.0, 5.0):
        known.add(Moment(at_s))
    assert [known.after(1.0), known.after(5.0), known.after(9.0)] == [Moment(5.0), Moment(9.0), None]
    assert [known.before(9.0), known.before(5.0), known.before(1.0)] == [Moment(5.0), Moment(1.0), None]
    assert known.before(7.0) == Moment(5.0)


@given(st.lists(st.floats(0, 1000)), st.floats(0, 1000))
def test_jumping_on_and_on_visits_every_place_that_is_apart_from_the_one_before(
    places: list[float], here: float
) -> None:
    known = Moments()
    for at_s in places:
        known.add(Moment(at_s))
    visited, at = [], here
    while (moment := known.after(at)) is not None:
        at = moment.at_s
        visited.append(at)
    assert visited == sorted(set(visited))
    for place in places:
        assert place <= here + 0.01 or any(place - 0.0101 <= one <= place for one in visited)
