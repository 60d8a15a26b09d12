from dataclasses import replace

import pytest

from monitor.dashboard.picture import Picture
from monitor.dashboard.verdict import verdict, verdict_lines
from monitor.flags import Kind, Severity
from monitor.snapshot import Counts, CylinderView, Snapshot
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import A, U, X, cylinder, miss, picture, snapshot, source


def said(now: Snapshot) -> str:
    shown = verdict(Picture(now, source()))
    return f"{shown.tone}: {shown.headline}; {shown.evidence}"


def test_a_miss_names_cylinder_outcome_moment_and_count() -> None:
    assert said(snapshot(missing=4)) == "fault: CYLINDER 4 unacknowledged; 1.5 s ago, 1 of 83 turns"


def test_a_lost_source_is_said_before_everything_else() -> None:
    shown = verdict(Picture(snapshot(missing=4), source(state=SourceState.LOST, reason="in1 went silent")))
    assert (shown.tone, shown.headline, shown.evidence) == ("lost", "SOURCE LOST", "in1 went silent")


def test_a_fault_that_lasts_goes_before_a_newer_one_that_is_over() -> None:
    flags = (miss(2, 5, 61.0), replace(miss(1, 2, 30.0, lasts=True), kind=Kind.SUPPLY_SAG))
    assert said(snapshot(flags=flags)) == "fault: CYLINDER 2 supply-sag; for 32 s, count 1"


def test_a_fault_of_no_cylinder_is_named_by_its_kind() -> None:
    flag = replace(miss(1, 4, 60.0), kind=Kind.SUPPLY_DROPOUT, cylinder=None, input="in1", count=3)
    assert said(snapshot(flags=(flag,))) == "fault: SUPPLY-DROPOUT; 1.5 s ago, count 3"


def test_warnings_and_information_do_not_take_the_place_of_the_roll() -> None:
    flags = tuple(replace(miss(1, 4, 60.0), severity=severity) for severity in (Severity.WARNING, Severity.INFO))
    assert said(snapshot(flags=flags)).startswith("calm: Every turn acknowledged")


def test_other_cylinders_that_missed_are_named_too() -> None:
    views = (cylinder(1, (X, A)), cylinder(4, (A, X)), cylinder(2, (A, A)))
    now = snapshot(cylinders=0, flags=(miss(2, 4, 61.0),))
    assert said(replace(now, cylinders=views)).endswith("1 of 2 turns, also missed: 1")


def test_misses_without_a_flag_at_hand_still_name_the_worst_cylinder() -> None:
    views = (cylinder(1, (X, A, A)), cylinder(4, (A, X, X)))
    assert said(replace(snapshot(0), cylinders=views)) == "fault: CYLINDER 4 missed; 2 unacknowledged of 3 turns"


def test_all_answered_is_said_of_what_was_observed_only() -> None:
    assert said(snapshot()) == "calm: Every turn acknowledged; 498 turns"
    assert said(snapshot(coverage=0.999)) == "calm: Every observed turn acknowledged; 498 turns"
    unseen = replace(snapshot(0), cylinders=(cylinder(1, (A, U)),))
    assert said(unseen) == "calm: Every observed turn acknowledged; 1 turn"


def test_nothing_is_claimed_before_the_first_turn() -> None:
    no_turn = "waiting: No turn of any cylinder seen yet; "
    assert said(replace(snapshot(0), state="stopped")) == no_turn + "key on"
    assert said(replace(snapshot(0), state="stopped", levels=())) == no_turn + "engine stopped"


def test_nothing_is_claimed_of_answers_when_no_answer_can_be_seen() -> None:
    view = CylinderView(1, Counts(opportunities=5, commanded=5, acknowledged=None))
    assert (
        said(replace(snapshot(0), cylinders=(view,))) == "waiting: 5 turns called; no acknowledgement line is connected"
    )


@pytest.mark.parametrize("rows", [1, 3])
@pytest.mark.parametrize("missing", [None, 4, 12])
def test_the_band_has_the_size_it_is_given(rows: int, missing: int | None) -> None:
    lines = verdict_lines(verdict(picture(12, missing)), 80, rows)
    assert [line.cell_length for line in lines] == [80] * rows
