from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from monitor.flags import Kind
from monitor.marks import Mark
from monitor.road.words import flag_line, mark_line, status_line
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import A as ANSWERED
from tests.monitor.dashboard.pictures import X as MISSED
from tests.monitor.dashboard.pictures import cylinder, miss, snapshot, source


def test_the_state_fits_one_line_and_names_who_missed() -> None:
    views = (cylinder(1, (ANSWERED, ANSWERED)), cylinder(4, (ANSWERED, MISSED)))
    line = status_line(replace(snapshot(0), cylinders=views, flags_raised=1), source())
    assert line == "0:01:01  running  812 rpm  4 turns  missed cylinder 4: 1  flags 1"
    partly = status_line(replace(snapshot(0), cylinders=views, coverage=0.98765, lost_samples=70), source())
    assert (
        partly == "0:01:01  running  812 rpm  4 turns  missed cylinder 4: 1  coverage 98.76 %  lost samples 70  flags 0"
    )
    assert "missed none" in status_line(snapshot(6), source())
    assert "speed unknown" in status_line(snapshot(rpm=None), source())


def test_what_is_wrong_comes_first() -> None:
    troubled = source(state=SourceState.LOST, outage_s=12.4, disk="samples: full", publishing="mqtt: 14 waiting")
    assert status_line(snapshot(), troubled).startswith("LOST for 12 s  DISK samples: full  0:01:01")
    assert status_line(snapshot(), troubled).endswith("  mqtt: 14 waiting")


def test_a_flag_is_one_line_whatever_stands_in_it() -> None:
    assert flag_line(miss(1, 4, 61.0)) == "0:01:01 FAULT missing-acknowledgement cylinder 4 no answer"
    nasty = replace(miss(1, 4, 61.0), cylinder=None, input="[b]\x1b[2J", detail="a\nb", kind=Kind.SUPPLY_SAG)
    assert flag_line(nasty) == "0:01:01 FAULT supply-sag [b]␛[2J a␊b"


def test_a_mark_says_who_made_it_and_what_was_flagged_before_it() -> None:
    now = snapshot(flags=(miss(3, 2, 63.0), miss(2, 4, 59.5), miss(1, 1, 50.0)))
    said = mark_line(Mark(7, 61.5, "key", "felt it"), now)
    assert said == "0:01:01 MARK 7 by key felt it: missing-acknowledgement cylinder 4 2.0 s before"
    assert mark_line(Mark(8, 40.0, "mqtt"), now) == "0:00:40 MARK 8 by mqtt: nothing flagged in the 3 s before"


@given(st.text(), st.text(), st.text())
def test_nothing_from_outside_breaks_a_line(one: str, two: str, three: str) -> None:
    told = [
        flag_line(replace(miss(1, 4, 61.0), cylinder=None, input=one, detail=two)),
        mark_line(Mark(1, 61.5, one, two), snapshot(flags=(replace(miss(1, 4, 61.0), cylinder=None, input=three),))),
        status_line(snapshot(), source(disk=one, publishing=two, reason=three)),
    ]
    assert all(line.isprintable() for line in told)
