from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from monitor.trace.view import View

NEWEST, LEAST, MOST, DOTS = 100_000, 112, 500_000, 112


class Keys(RuleBasedStateMachine):
    """Any keys in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.view = View.of(NEWEST, 1000)

    @rule(steps=st.integers(-9, 9))
    def pan(self, steps: int) -> None:
        self.view.pan(steps, 0, NEWEST)

    @rule(factor=st.sampled_from([0.5, 2.0]))
    def zoom(self, factor: float) -> None:
        self.view.zoom(factor, LEAST, MOST)

    @rule(columns=st.integers(-200, 200))
    def step(self, columns: int) -> None:
        self.view.step(columns, DOTS)

    @rule(index=st.integers(0, NEWEST))
    def go_to(self, index: int) -> None:
        self.view.go_to(index)
        assert self.view.cursor == index

    @rule()
    def place(self) -> None:
        self.view.place()

    @rule()
    def swap(self) -> None:
        before = {self.view.cursor, self.view.other}
        self.view.swap()
        assert {self.view.cursor, self.view.other} == before

    @rule()
    def follow(self) -> None:
        self.view.toggle_following()
        self.view.follow(NEWEST)

    @invariant()
    def the_cursor_is_in_view_and_the_width_is_allowed(self) -> None:
        assert self.view.start <= self.view.cursor < self.view.end
        assert LEAST <= self.view.samples <= MOST


TestKeys = Keys.TestCase


def test_while_it_follows_the_newest_sample_is_the_last_and_the_cursor_keeps_its_place() -> None:
    view = View.of(1000, 400)
    view.follow(1500)
    assert (view.start, view.end, view.cursor) == (1100, 1500, 1300)
    view.pan(-1, 0, 1500)
    view.follow(2000)
    assert view.end == 1450


@given(st.integers(0, 999), st.sampled_from([0.5, 2.0]))
def test_zooming_leaves_the_cursor_where_it_is_on_the_screen(place: int, factor: float) -> None:
    view = View.of(NEWEST, 1000)
    view.point(view.start + place)
    share = (view.cursor - view.start) / view.samples
    view.zoom(factor, LEAST, MOST)
    assert abs((view.cursor - view.start) / view.samples - share) <= 1 / view.samples


def test_panning_stops_at_the_newest_and_at_the_oldest() -> None:
    view = View.of(5000, 800)
    view.pan(100, 1000, 5000)
    assert view.end == 5000
    view.pan(-100, 1000, 5000)
    assert view.start == 1000
