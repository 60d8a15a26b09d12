from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.dashboard import lane_columns
from monitor.dashboard.lane_columns import rate_cell
from monitor.dashboard.lanes import bundles, lanes
from monitor.dashboard.picture import Picture
from monitor.firing.records import Outcome
from monitor.rates import Missed, load
from tests.monitor.dashboard.pictures import A, O, U, X, cylinder, miss, picture, snapshot, source


@pytest.fixture(autouse=True, scope="module")
def bounds_at_hand() -> None:
    load()


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
    row = rows_of(picture(cylinders=1, missing=1))[1]
    assert row.split()[1].endswith("···X··")


def test_each_outcome_has_a_glyph_of_its_own() -> None:
    now = replace(snapshot(0), cylinders=(cylinder(1, (A, X, O, U)),))
    assert rows_of(Picture(now, source(), turns_per_column=1))[1].split()[1] == "·XO?"


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
    assert row.split()[-7:] == ["0", "0", "5000", "0.00050–0.12", "%", "4.0", "s"]


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
    assert heading.endswith("dwell ms  delay ms  sag V")
    assert row.split()[-3:] == ["2.50", "0.812", "0.61"]


def test_the_rate_stands_with_its_bounds_in_full_where_there_is_room_and_shorter_where_there_is_not() -> None:
    """The bounds of 52 in 10,000 after Clopper and Pearson, by scipy.stats.binomtest: 0.388525 % and 0.681345 %."""
    missed = Missed(52, 10_000)
    assert rate_cell(missed, 26) == "0.52 % (0.38–0.69 %)"
    assert rate_cell(missed, 15) == "0.38–0.69 %"
    assert rate_cell(Missed(1, 100_000), 15) == "< 0.0056 %"
    assert rate_cell(Missed(0, 2000), 15) == "< 0.15 %"
    assert rate_cell(Missed(0, 0), 15) == "-"


def test_until_bounds_can_be_computed_they_are_said_to_be_on_their_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lane_columns, "is_loaded", lambda: False)
    assert rate_cell(Missed(52, 10_000), 26) == "…"
    assert rate_cell(Missed(0, 2000), 26) == "< 0.15 %"


@pytest.mark.parametrize("width", [30, 60, 79, 80, 120, 150, 200])
def test_the_narrower_the_fewer_figures_and_misses_are_the_last_to_go(width: int) -> None:
    heading, row = rows_of(Picture(snapshot(cylinders=1, missing=1), source()), width)
    shown = [word for word in ("turns", "missed, 95 %", "dwell ms", "sag V") if word in heading]
    assert len(shown) == (width >= 40) + (width >= 72) + 2 * (width >= 120)
    assert row.split()[-1] == "s" if width < 120 else row.split()[-1] == "0.61"
    assert len(row) == width


def test_a_narrow_lane_holds_as_many_seconds_as_it_can_by_itself_and_says_how() -> None:
    narrow, wide = (rows_of(Picture(snapshot(1, missing=1), source()), width)[0] for width in (80, 200))
    assert narrow.startswith(" 4 turns a column")
    assert "a column" not in wide
