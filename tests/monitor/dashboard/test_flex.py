import pytest
from rich.cells import cell_len

from drivers.simulated.faults import Fault
from drivers.simulated.scenario import Knot, Scenario
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.dashboard.app import Dashboard
from monitor.dashboard.flex import Bell, flex_lines
from monitor.flex.flex_test import FlexTest
from monitor.hookup import Hookup
from monitor.setup import parse_setup
from tests.monitor.dashboard.pictures import Still, snapshot


def flexed(*faults: Fault, inputs: tuple[str, ...] = ("supply", "control1", "acknowledgement")) -> FlexTest:
    scenario = Scenario((Knot(0.0, 0.0, "stand"),))
    engine = SimulatedEngine(scenario=scenario, faults=faults, inputs=inputs, sample_rate_hz=20_000, duration_s=3.0)
    info = engine.open()
    setup = parse_setup(info.setup_toml or "", "simulated")
    analyzer, flex = Analyzer(setup, info), FlexTest(Hookup.of(setup, info), info)
    flex.begin()
    for block in engine.blocks():
        flex.take(block, analyzer.feed(block))
    return flex


@pytest.mark.parametrize("width", [80, 120])
def test_the_screen_says_which_wire_let_go_how_often_and_for_how_long(width: int) -> None:
    flex = flexed(Fault("feed-dropout", start_s=1.0, end_s=1.002), Fault("feed-dropout", start_s=2.0, end_s=2.004))
    lines = flex_lines(flex, snapshot(time_s=3.0), width)
    assert {cell_len(line.plain) for line in lines} == {width}
    (feed,) = [line.plain for line in lines if line.plain.startswith(" FEED")]
    assert "! 2 times" in feed
    assert any("LINE" in line.plain and "held so far" in line.plain for line in lines)
    assert "100 us" in lines[0].plain
    if width >= 120:
        assert "longest 4.0 ms" in feed


def test_a_wire_that_is_lost_is_told_in_words_and_not_by_colour_alone() -> None:
    flex = flexed(Fault("line-held-low", start_s=1.0))
    assert any("LINE" in line.plain and "LOST NOW" in line.plain for line in flex_lines(flex, snapshot(), 80))


def test_without_feed_ground_and_line_it_says_that_there_is_nothing_to_watch() -> None:
    lines = flex_lines(flexed(inputs=("control1",)), snapshot(), 80)
    assert any("Nothing to watch" in line.plain for line in lines)


def test_the_bell_rings_once_for_an_interruption_and_twice_again_and_again_for_a_lost_wire() -> None:
    bell = Bell()
    assert [bell.rings(count, is_lost=False) for count in (0, 1, 1, 1, 3, 3)] == [
        False,
        True,
        False,
        False,
        True,
        False,
    ]
    assert [bell.rings(4, is_lost=True) for _ in range(12)] == 2 * [True, True, False, False, False, False]
    assert not bell.rings(4, is_lost=False)


async def test_a_key_leads_there_counting_begins_and_escape_leads_back() -> None:
    engine = SimulatedEngine(sample_rate_hz=20_000, duration_s=1.0)
    info = engine.open()
    flex = FlexTest(Hookup.of(parse_setup(info.setup_toml or "", "simulated"), info), info)
    app = Dashboard(Still(), flex=flex)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("x")
        await pilot.pause()
        during = flex.is_on
        await pilot.press("a", "escape")
        await pilot.pause()
        assert (during, flex.is_on, len(app.screen_stack)) == (True, False, 1)


async def test_over_a_second_screen_without_samples_there_is_no_flex_test() -> None:
    app = Dashboard(Still())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("x")
        assert len(app.screen_stack) == 1
