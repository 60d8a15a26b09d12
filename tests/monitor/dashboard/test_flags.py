from dataclasses import replace

import pytest

from monitor.dashboard.flags import flag_lines
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from tests.monitor.dashboard.pictures import miss, snapshot

NASTY = "[red]\x1b[2J\n\u202e点" + "x" * 10_000


@pytest.mark.parametrize("width", [80, 100, 200])
def test_a_hostile_detail_is_shown_as_text_and_keeps_the_layout(width: int) -> None:
    lines = flag_lines(snapshot(flags=(miss(1, 4, 60.0, detail=NASTY),), flags_raised=1), width, 6)
    assert {line.cell_length for line in lines} == {width}
    assert "[red]␛[2J" in lines[1].plain
    assert lines[1].plain.endswith("…")


def test_newest_flags_come_first_and_as_many_as_there_are_rows() -> None:
    flags = tuple(miss(number, 1 + number % 6, float(number)) for number in range(50, 0, -1))
    lines = [line.plain for line in flag_lines(snapshot(flags=flags, flags_raised=250), 80, 7)]
    assert len(lines) == 7
    assert lines[0].startswith(" 250 flags")
    assert "12 s ago" in lines[1]


def test_a_flag_that_lasts_says_for_how_long() -> None:
    line = flag_lines(snapshot(flags=(miss(1, 4, 60.0, lasts=True),)), 80, 2)[1].plain
    assert "for 1.5 s" in line
    assert "cyl 4" in line


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("severity", list(Severity))
def test_every_kind_fits_and_every_severity_has_its_own_glyph(kind: Kind, severity: Severity) -> None:
    flag = replace(miss(1, 4, 60.0), kind=kind, severity=severity, cylinder=None, input="in3")
    line = flag_lines(snapshot(flags=(flag,)), 80, 2)[1].plain
    assert line[1] == {"fault": "X", "warning": "!", "info": "i"}[severity]
    assert f" {kind} " in line
    assert " in3 " in line


def test_there_is_a_heading_even_without_room_or_flags() -> None:
    assert len(flag_lines(snapshot(), 80, 0)) == 1
    assert (
        len(flag_lines(snapshot(flags=(Flag(1, Kind.ALL_CUT, Severity.INFO, None, None, 1, None, 1, ""),)), 80, 1)) == 1
    )


def test_a_mark_stands_among_the_flags_by_its_time_with_what_was_flagged_just_before_it() -> None:
    seen = snapshot(flags=(miss(2, 4, 61.0), miss(1, 2, 40.0)), flags_raised=2, marks=(Mark(1, 60.0 + 1.4, "key"),))
    lines = [line.plain for line in flag_lines(seen, 120, 6)]
    assert "MARK 1 by key; just before it: missing-acknowledgement cyl 4" in lines[1]
    assert "cyl 2" in lines[3]
    assert {line.cell_length for line in flag_lines(seen, 80, 6)} == {80}


def test_a_mark_before_which_nothing_was_flagged_says_so() -> None:
    lines = flag_lines(snapshot(marks=(Mark(1, 60.0, "key"),)), 100, 6)
    assert "nothing flagged" in lines[1].plain
