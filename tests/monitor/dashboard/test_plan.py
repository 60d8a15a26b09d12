from hypothesis import given
from hypothesis import strategies as st

from monitor.dashboard.plan import plan


@given(st.integers(24, 200), st.integers(1, 12))
def test_every_lane_and_six_flags_fit_from_24_rows_on(rows: int, cylinders: int) -> None:
    shared = plan(rows, cylinders)
    assert 2 + shared.verdict_rows + shared.lanes_rows + shared.flags_rows + 1 == rows
    assert shared.findings_rows == 0
    assert shared.lanes_rows == 1 + cylinders * shared.lane_rows
    assert shared.flags_rows >= 1 + 6


@given(st.integers(1, 200), st.integers(0, 16))
def test_no_terminal_is_too_small_to_be_shared_out(rows: int, cylinders: int) -> None:
    assert (
        min(plan(rows, cylinders).verdict_rows, plan(rows, cylinders).lane_rows, plan(rows, cylinders).flags_rows) >= 1
    )


@given(st.integers(24, 200), st.integers(1, 12))
def test_findings_take_at_least_three_rows_leave_three_flags_and_move_no_lane(rows: int, cylinders: int) -> None:
    shared, without = plan(rows, cylinders, is_pointing=True), plan(rows, cylinders)
    assert 2 + shared.verdict_rows + shared.lanes_rows + shared.findings_rows + shared.flags_rows + 1 == rows
    assert shared.findings_rows >= 3
    assert shared.flags_rows >= 1 + 3
    assert (shared.lanes_rows, shared.verdict_rows) == (without.lanes_rows, without.verdict_rows)


@given(st.integers(1, 200), st.integers(0, 16))
def test_findings_leave_three_flags_wherever_there_is_room_for_three(rows: int, cylinders: int) -> None:
    shared, without = plan(rows, cylinders, is_pointing=True), plan(rows, cylinders)
    assert shared.flags_rows >= min(1 + 3, without.flags_rows)


def test_six_cylinders_have_one_row_each_in_24_rows_and_three_in_40() -> None:
    assert plan(24, 6).lane_rows == 1
    assert plan(40, 6).lane_rows == 3
