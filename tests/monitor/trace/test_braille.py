import unicodedata

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.trace.braille import bars, cells
from monitor.trace.envelope import Envelope


@given(st.sets(st.tuples(st.integers(0, 3), st.integers(0, 1))))
def test_every_cell_has_the_dots_that_its_name_in_the_unicode_standard_says(lit: set[tuple[int, int]]) -> None:
    """Against the Unicode Character Database: names say the raised dots; 1237 run down the left, 4568 the right."""
    dots = np.zeros((4, 2), np.bool_)
    for row, column in lit:
        dots[row, column] = True
    cell = cells(dots)[0]
    numbers = "".join(sorted(("1237", "4568")[column][row] for row, column in lit))
    assert unicodedata.name(cell) == (f"BRAILLE PATTERN DOTS-{numbers}" if numbers else "BRAILLE PATTERN BLANK")


def drawn(low: list[float], high: list[float], seen: list[bool] | None = None) -> Envelope:
    return Envelope(np.array(low), np.array(high), np.array(seen or [True] * len(low)))


def test_lines_run_from_the_top_and_characters_from_the_left() -> None:
    dots = np.zeros((8, 4), np.bool_)
    dots[0, 3] = dots[7, 0] = True
    assert cells(dots) == ["\u2800⠈", "⡀\u2800"]


def test_a_bar_reaches_from_its_lowest_to_its_highest_and_top_and_bottom_are_the_scale() -> None:
    dots = bars(drawn([0.0, 0.0, 2.0], [0.0, 4.0, 2.0]), 0.0, 4.0, 5)
    assert dots[:, 1].tolist() == [True] * 5
    assert dots[:, 2].tolist() == [False, False, True, False, False]


def test_a_step_is_one_line_and_a_gap_stays_open() -> None:
    dots = bars(drawn([0.0, 4.0, 9.9, 0.0], [0.0, 4.0, 9.9, 0.0], [True, True, False, True]), 0.0, 4.0, 5)
    assert dots[:, 1].all()
    assert not dots[:, 2].any()
    assert dots[:, 3].tolist() == [False] * 4 + [True]


def test_what_leaves_the_scale_lies_on_its_edge() -> None:
    dots = bars(drawn([-9.0, 7.0], [-9.0, 7.0], [True, True]), 0.0, 4.0, 5)
    assert dots[4, 0]
    assert dots[0, 1]
