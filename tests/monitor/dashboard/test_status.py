import pytest

from monitor.dashboard.picture import Picture
from monitor.dashboard.status import engine_line, source_line
from monitor.snapshot import LevelView
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import snapshot, source

NASTY = "[b]\x1b]0;x\x07\n\u202e点" + "y" * 10_000


def test_the_engine_line_tells_state_speed_feed_and_when_coils_answer() -> None:
    said = " ".join(engine_line(Picture(snapshot(), source()), 80).plain.split())
    assert said == "RUNNING 812 rpm feed 13.82 V (in1) answers during charge"


@pytest.mark.parametrize("state", [SourceState.LOST, SourceState.ENDED])
def test_what_the_engine_did_at_the_last_is_not_said_to_be_now(state: SourceState) -> None:
    assert engine_line(Picture(snapshot(), source(state=state)), 80).plain.startswith(" was running ")


def test_what_is_unknown_is_said_to_be_unknown() -> None:
    now = snapshot(rpm=None, levels=(LevelView("in1", "supply", "", None),), acknowledgement_timing=None)
    line = engine_line(Picture(now, source()), 100).plain
    assert "speed unknown" in line
    assert "feed unknown (in1)" in line
    assert "answers not learned yet" in line


@pytest.mark.parametrize("engine", ["running", "cranking", "unknown"])
def test_what_the_engine_was_stands_apart_from_its_speed(engine: str) -> None:
    now = snapshot(state=engine, rpm=None)
    assert f" was {engine} speed unknown " in engine_line(Picture(now, source(state=SourceState.LOST)), 80).plain


def test_the_source_line_tells_rate_coverage_and_loss_in_80_columns() -> None:
    shown = Picture(snapshot(coverage=0.99996, lost_samples=12), source(simulated=True))
    line = source_line(shown, 80).plain
    assert line.startswith(" live ")
    for part in ("SIMULATED", "0:01:01", "50 kS/s", "coverage 99.99 %", "lost samples 12"):
        assert part in line


def test_before_a_resumed_sessions_first_sample_its_coverage_is_unknown() -> None:
    waiting = snapshot(state="unknown", rpm=None, time_s=61.2)
    assert "coverage unknown" in source_line(Picture(waiting, source()), 80).plain


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"state": SourceState.LOST}, "LOST"),
        ({"state": SourceState.ENDED}, "ENDED"),
        ({"state": SourceState.PAUSED, "speed": 0.5}, "PAUSED x0.5"),
        ({"speed": 0.25, "total_s": 90.0}, "replay x0.25"),
    ],
)
def test_the_state_of_the_source_is_a_word(changes: dict[str, object], word: str) -> None:
    assert source_line(Picture(snapshot(), source(**changes)), 80).plain.startswith(f" {word} ")


def test_how_often_and_how_long_it_was_lost_stands_in_80_columns() -> None:
    outage = {"times_lost": 3, "lost_at_s": 61.2, "outage_s": 12.3}
    away = source_line(Picture(snapshot(coverage=0.9), source(state=SourceState.LOST, **outage)), 80).plain
    assert away.startswith(" LOST ")
    assert "lost 3x, for 12 s at 0:01:01" in away
    assert "coverage 90.00 %" in away
    back = source_line(Picture(snapshot(), source(**outage)), 120).plain
    assert back.startswith(" live ")
    assert "lost 3x, last 12 s at 0:01:01" in back
    assert "50 kS/s" in back


def test_the_instruments_clock_and_damaged_frames_are_told_where_they_are_known() -> None:
    shown = Picture(snapshot(), source(clock_error_ppm=-41.6, frames_damaged=7))
    line = source_line(shown, 120).plain
    assert "damaged frames 7" in line
    assert "its clock -42 ppm" in line
    unknown = source_line(Picture(snapshot(), source()), 120).plain
    assert "ppm" not in unknown
    assert "frames" not in unknown


def test_an_analysis_that_trails_is_said_to() -> None:
    assert "2.0 s behind" in source_line(Picture(snapshot(), source(behind_s=2.0)), 120).plain
    assert "behind" not in source_line(Picture(snapshot(), source(behind_s=0.1)), 120).plain


def test_what_the_disk_or_the_broker_does_not_take_stands_before_everything_but_the_state() -> None:
    shown = Picture(snapshot(), source(disk="disk full: ledger waits", publishing="broker away: 12 wait"))
    assert source_line(shown, 120).plain.startswith(" live  disk full: ledger waits  broker away: 12 wait ")


@pytest.mark.parametrize("width", [20, 80, 200])
def test_hostile_addresses_and_inputs_are_text_and_keep_the_layout(width: int) -> None:
    now = snapshot(levels=(LevelView(NASTY, "supply", NASTY, 12.0),))
    shown = Picture(now, source(address=NASTY, recording_to=NASTY, reason=NASTY))
    assert engine_line(shown, width).cell_length == width
    assert source_line(shown, width).cell_length == width
