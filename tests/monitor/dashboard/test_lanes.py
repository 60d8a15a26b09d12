from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.dashboard.lanes import bundles, lanes
from monitor.dashboard.picture import Picture
from monitor.firing.records import Outcome
from tests.monitor.dashboard.pictures import A, O, U, X, cylinder, miss, picture, snapshot, source


def rows_of(shown: Picture, width: int = 80, lane_rows: int = 1) -> list[str]:
    return [line.plain for line in lanes(shown, width, lane_rows)]


@pytest.mark.parametrize("width", [80, 109, 110, 120, 240])
@pytest.mark.parametrize("lane_rows", [1, 2, 3])
@pytest.mark.parametrize("cylinders", [1, 6, 12])
def test_every_line_of_every_lane_has_the_width_of_the_terminal(width: int, lane_rows: int, cylinders: int) -> None:
    shown = lanes(picture(cylinders, missing=1, turns_per_column=4), width, lane_rows)
    assert len(shown) == 1 + lane_rows * cylinders
    assert {line.cell_length for line in shown} == {width}


def test_the_newest_turn_is_at_the_right_end_of_its_lane() -> None:
    row = rows_of(Picture(snapshot(cylinders=1, missing=1), source()))[1]
    assert row[4:45].endswith("···X··")


def test_each_outcome_has_a_glyph_of_its_own() -> None:
    now = replace(snapshot(0), cylinders=(cylinder(1, (A, X, O, U)),))
    assert rows_of(Picture(now, source()))[1].split()[1] == "·XO?"


def test_a_miss_fills_the_height_of_its_lane_and_an_answer_only_the_base_line() -> None:
    rows = rows_of(picture(cylinders=1, missing=1), lane_rows=3)[1:]
    assert [row.index("X") for row in rows] == [rows[0].index("X")] * 3
    assert ["·" in row for row in rows] == [False, False, True]


def test_a_cylinder_that_missed_stays_marked_after_its_turn_has_left_the_screen() -> None:
    view = cylinder(4, (X,) + (A,) * 399, opportunities=5000)
    now = replace(snapshot(0), time_s=9.0, cylinders=(view,), flags=(miss(1, 4, 5.0),))
    shown = Picture(now, source())
    row = rows_of(shown)[1]
    assert "X" not in row
    assert row.startswith(" !4 ")
    assert row.split()[-5:] == ["0", "0", "5000", "4.0", "s"]


def test_a_miss_that_lasts_is_now_and_one_without_a_flag_at_hand_is_long_ago() -> None:
    now = snapshot(cylinders=2, missing=1, flags=(miss(1, 1, 60.0, lasts=True),))
    assert rows_of(Picture(now, source()))[1].endswith("now")
    assert rows_of(Picture(now, source()))[2].endswith("-")
    assert rows_of(Picture(snapshot(cylinders=2, missing=1, flags=()), source()))[1].endswith("?")


def test_tall_lanes_show_the_number_of_the_cylinder_in_tall_digits() -> None:
    rows = rows_of(picture(cylinders=12), lane_rows=3)
    assert [row[:8] for row in rows[-3:]] == [" ╺┓ ╺━┓ ", "  ┃ ┏━┛ ", " ╺┻╸┗━╸ "]


@given(st.lists(st.sampled_from(list(Outcome)), max_size=40), st.integers(0, 1000), st.sampled_from([1, 2, 4, 8]))
def test_a_column_holds_the_worst_of_its_turns_and_columns_stand_still(
    recent: list[Outcome], before: int, turns: int
) -> None:
    earlier = cylinder(1, tuple(recent), opportunities=before + len(recent))
    later = cylinder(1, (*recent, A), opportunities=before + len(recent) + 1)
    now, then = bundles(earlier, turns, 1000), bundles(later, turns, 1000)
    finished = now if (before + len(recent)) % turns == 0 else now[:-1]
    assert then[: len(finished)] == finished
    if before == 0:
        assert then.count(A) == sum(set([*recent, A][i : i + turns]) == {A} for i in range(0, len(recent) + 1, turns))


def test_wide_terminals_show_dwell_delay_and_sag() -> None:
    heading, row = rows_of(picture(cylinders=1), width=120)
    assert heading.endswith("dwell ms  delay ms     sag V")
    assert row.split()[-3:] == ["2.50", "0.812", "0.61"]
