import asyncio
import io
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from monitor.flags import Kind
from monitor.live import Options, session
from monitor.log import LINE_EVERY_S, Report, flag_line, log, status_line
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import A as ANSWERED
from tests.monitor.dashboard.pictures import X as MISSED
from tests.monitor.dashboard.pictures import cylinder, miss, snapshot, source
from tests.monitor.streams import Played, WaitingClock, engine_running


def on_a_pipe() -> tuple[io.StringIO, Report]:
    written = io.StringIO()
    return written, Report(Console(file=written, width=80))


def test_the_state_fits_one_line_and_names_who_missed() -> None:
    views = (cylinder(1, (ANSWERED, ANSWERED)), cylinder(4, (ANSWERED, MISSED)))
    line = status_line(replace(snapshot(0), cylinders=views, flags_raised=1))
    assert line == ("0:01:01  running  812 rpm  4 turns  missed cylinder 4: 1  1 flags  coverage 100 %  lost samples 0")
    assert "missed none" in status_line(snapshot(6))
    assert "speed unknown" in status_line(snapshot(rpm=None))


def test_a_flag_is_one_line_whatever_stands_in_it() -> None:
    assert flag_line(miss(1, 4, 61.0)) == "0:01:01 FAULT missing-acknowledgement cylinder 4 no answer"
    nasty = replace(miss(1, 4, 61.0), cylinder=None, input="[b]\x1b[2J", detail="a\nb", kind=Kind.SUPPLY_SAG)
    assert flag_line(nasty) == "0:01:01 FAULT supply-sag [b]␛[2J a␊b"


def test_on_a_pipe_each_flag_is_said_once_and_the_state_now_and_then() -> None:
    written, report = on_a_pipe()
    with report:
        report.say(snapshot(time_s=1.0), source())
        report.say(snapshot(time_s=2.0, flags=(miss(1, 4, 1.5),), flags_raised=1), source())
        report.say(snapshot(time_s=2.5, flags=(miss(2, 3, 2.2), miss(1, 4, 1.5)), flags_raised=2), source())
        report.say(snapshot(time_s=1.0 + LINE_EVERY_S, flags=(miss(2, 3, 2.2),), flags_raised=2), source())
    lines = written.getvalue().splitlines()
    assert [line.split()[1] for line in lines] == ["running", "FAULT", "FAULT", "running"]
    assert "cylinder 4" in lines[1]
    assert "cylinder 3" in lines[2]


def test_lost_and_back_are_each_said_once_with_their_times_and_count() -> None:
    written, report = on_a_pipe()
    lost = {"times_lost": 2, "lost_at_s": 61.0, "reason": "board: reading failed"}
    with report:
        report.say(snapshot(), source(state=SourceState.LOST, outage_s=1.0, **lost))
        report.say(snapshot(), source(state=SourceState.LOST, outage_s=2.0, **lost))
        report.say(snapshot(), source(outage_s=5.3, **lost))
        report.say(snapshot(), source(outage_s=5.3, **lost))
    lines = [line for line in written.getvalue().splitlines() if "running" not in line]
    assert lines == ["0:01:01 LOST board: reading failed", "0:01:06 back after 5.3 s, lost 2x"]


def test_on_a_terminal_the_line_that_changes_says_first_that_nothing_comes() -> None:
    written = io.StringIO()
    with Report(Console(file=written, width=80, force_terminal=True, color_system=None)) as report:
        report.say(snapshot(), source(state=SourceState.LOST, times_lost=1, lost_at_s=60.0, outage_s=12.4))
    assert "LOST for 12 s  0:01:01" in written.getvalue()


def test_flags_that_came_faster_than_they_are_kept_are_counted() -> None:
    written, report = on_a_pipe()
    report.say(snapshot(flags=(miss(300, 4, 60.0),), flags_raised=300), source())
    assert "299 more flags, in the ledger" in written.getvalue()


def test_on_a_terminal_the_state_is_a_line_that_changes_and_is_gone_at_the_end() -> None:
    written = io.StringIO()
    with Report(Console(file=written, width=80, force_terminal=True, color_system=None)) as report:
        for second in range(3):
            report.say(snapshot(time_s=float(second)), source())
    assert written.getvalue().count("\x1b[2K") >= 3
    assert "\x1b" in written.getvalue().splitlines()[-1]


async def test_logging_ends_with_the_stream() -> None:
    clock = WaitingClock()
    async with session(Played(engine_running()), Options()) as running:
        with on_a_pipe()[1] as report:
            await log(running, report, clock, None)
        assert running.ended.is_set()


async def test_logging_ends_when_so_much_has_been_analysed(tmp_path: Path) -> None:
    played = Played(engine_running(), is_endless=True)
    async with session(played, Options(folder=tmp_path / "drive")) as running:
        with on_a_pipe()[1] as report:
            await log(running, report, WaitingClock(), 2.0)
        assert not running.ended.is_set()
        assert running.snapshot().time_s >= 2.0


async def test_an_instrument_that_says_nothing_does_not_prolong_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.log.LOOK_EVERY_S", 0.001)
    clock = WaitingClock()
    info, _ = engine_running()
    async with session(Played((info, ()), is_endless=True, is_live=True), Options()) as running:
        with on_a_pipe()[1] as report:
            logging = asyncio.create_task(log(running, report, clock, 60.0))
            await asyncio.sleep(0)
            assert not logging.done()
            clock.time_s += 61.0
            await logging
