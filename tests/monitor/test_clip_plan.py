from hypothesis import given
from hypothesis import strategies as st

from monitor.clip_plan import MOST_WANTED, ClipPlan, Span
from monitor.disk_terms import Surroundings

RATE_HZ = 10.0
moments = st.lists(st.integers(0, 3000), min_size=1, max_size=30)


def plan() -> ClipPlan:
    return ClipPlan(RATE_HZ, Surroundings())


def drained(planned: ClipPlan) -> list[Span]:
    spans = []
    while span := planned.next_span(0, is_last=True):
        spans.append(span)
        planned.done(span)
    return spans


def covered(spans: list[Span]) -> set[int]:
    return {index for span in spans for index in range(span.first_index, span.end_index)}


def test_a_moment_keeps_two_seconds_before_and_one_after() -> None:
    planned = plan()
    planned.want(100)
    assert drained(planned) == [Span(80, 110)]


def test_at_the_start_there_is_nothing_before() -> None:
    planned = plan()
    planned.want(5)
    assert drained(planned) == [Span(0, 15)]


@given(moments)
def test_every_sample_around_every_moment_is_in_exactly_one_clip_and_no_other_is(wanted: list[int]) -> None:
    planned = plan()
    for index in wanted:
        planned.want(index)
    spans = drained(planned)
    assert covered(spans) == {near for index in wanted for near in range(max(index - 20, 0), index + 10)}
    assert sum(span.end_index - span.first_index for span in spans) == len(covered(spans))
    assert all(span.end_index - span.first_index <= 300 for span in spans)
    assert spans == sorted(spans, key=lambda span: span.first_index)


@given(moments)
def test_in_whatever_order_they_come_the_clips_are_the_same(wanted: list[int]) -> None:
    one, other = plan(), plan()
    for index in wanted:
        one.want(index)
    for index in reversed(wanted):
        other.want(index)
    assert drained(one) == drained(other)


def test_it_waits_until_no_flag_can_be_raised_there_and_the_samples_are_on_the_disk() -> None:
    planned = plan()
    planned.want(100)
    assert planned.next_span(kept_index=1000) is None
    planned.booked(159)
    assert planned.next_span(kept_index=1000) is None
    planned.booked(160)
    assert planned.next_span(kept_index=109) is None
    assert planned.next_span(kept_index=110) == Span(80, 110)


def test_moments_that_go_on_and_on_are_cut_at_the_longest_and_kept_on_from_there() -> None:
    planned = plan()
    for index in range(100, 500, 10):
        planned.want(index)
    planned.booked(10_000)
    assert planned.next_span(10_000) == Span(80, 380)
    planned.done(Span(80, 380))
    assert planned.next_span(10_000) == Span(380, 500)


def test_what_comes_to_be_wanted_while_a_clip_is_cut_is_not_forgotten_with_it() -> None:
    planned = plan()
    planned.want(100)
    planned.want(75)
    planned.want(115)
    planned.done(Span(80, 110))
    assert drained(planned) == [Span(55, 80), Span(110, 125)]


def test_samples_are_needed_from_the_oldest_clip_on_or_from_where_a_flag_may_still_be_raised() -> None:
    planned = plan()
    planned.analysed(1000)
    assert planned.needed_from == 1000 - 50 - 20
    planned.want(500)
    assert planned.needed_from == 480
    planned.done(Span(480, 510))
    assert planned.needed_from == 930


def test_so_many_may_wait_and_no_more() -> None:
    planned = plan()
    for number in range(MOST_WANTED + 3):
        planned.want(100 * number)
    assert planned.given_up == 3
    assert len(drained(planned)) == MOST_WANTED
