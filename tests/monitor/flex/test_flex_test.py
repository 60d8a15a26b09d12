import numpy as np
import pytest

from acquire.block import SampleBlock
from drivers.simulated.faults import Fault
from drivers.simulated.scenario import Knot, Scenario
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.flex.flex_test import FlexTest, WireTally
from monitor.hookup import Hookup
from monitor.setup import parse_setup

STANDING = Scenario((Knot(0.0, 0.0, "stand"),))
STARTING = Scenario((Knot(0.0, 0.0, "stand"), Knot(2.0, 0.0, "crank"), Knot(2.3, 250.0), Knot(3.0, 900.0)))


def counted(
    scenario: Scenario | None, *faults: Fault, duration_s: float = 6.0, on_from_s: float = 0.0
) -> dict[str, WireTally]:
    engine = SimulatedEngine(
        scenario=scenario,
        faults=faults,
        inputs=("supply", "ground", "control1", "acknowledgement"),
        sample_rate_hz=50_000,
        duration_s=duration_s,
        block_samples=5_000,
    )
    info = engine.open()
    setup = parse_setup(info.setup_toml or "", "simulated")
    analyzer, flex = Analyzer(setup, info), FlexTest(Hookup.of(setup, info), info)
    for block in engine.blocks():
        if not flex.is_on and block.first_index >= on_from_s * info.sample_rate_hz:
            flex.begin()
        flex.take(block, analyzer.feed(block))
    return {wire.wire: wire for wire in flex.wires}


def test_with_the_key_on_a_sound_harness_counts_nothing() -> None:
    assert {wire.count for wire in counted(STANDING).values()} == {0}


def test_with_the_key_on_a_feed_that_lets_go_is_counted_on_the_feed() -> None:
    wires = counted(STANDING, Fault("feed-dropout", start_s=2.0, end_s=2.0004))
    assert wires["feed"].count == 1
    assert 300 < wires["feed"].longest_us < 500
    assert wires["ground"].count == 0


def test_with_the_key_on_a_line_pulled_low_is_counted_and_told_as_lost_while_it_lasts() -> None:
    wires = counted(STANDING, Fault("line-held-low", start_s=2.0))
    assert wires["line"].count == 1
    assert wires["line"].is_lost
    assert wires["line"].longest_us == pytest.approx(4e6, rel=0.01)


def test_answers_of_a_running_engine_are_no_interruptions() -> None:
    assert {wire.count for wire in counted(None).values()} == {0}


def test_answers_of_an_engine_that_starts_are_withdrawn_once_it_is_known_to_turn() -> None:
    wires = counted(STARTING, duration_s=8.0)
    assert wires["line"].count == 0


def test_while_the_engine_runs_an_answer_that_is_missing_counts_and_says_whose() -> None:
    wires = counted(None, Fault("no-answer", 4, start_s=3.0, end_s=3.15), on_from_s=1.0)
    assert wires["line"].count == 1
    assert "cylinder 4" in wires["line"].last_because


def test_while_the_engine_runs_a_feed_that_lets_go_is_counted() -> None:
    wires = counted(None, Fault("feed-dropout", start_s=3.0, end_s=3.003))
    assert wires["feed"].count >= 1


def test_what_happened_before_it_began_is_not_counted() -> None:
    assert counted(STANDING, Fault("feed-dropout", start_s=1.0, end_s=1.001), on_from_s=2.0)["feed"].count == 0


def test_a_gap_in_the_samples_is_no_interruption() -> None:
    engine = SimulatedEngine(scenario=STANDING, sample_rate_hz=50_000, duration_s=2.0, block_samples=5_000)
    info = engine.open()
    setup = parse_setup(info.setup_toml or "", "simulated")
    analyzer, flex = Analyzer(setup, info), FlexTest(Hookup.of(setup, info), info)
    flex.begin()
    for block in engine.blocks():
        moved = SampleBlock(block.first_index + (50_000 if block.first_index > 20_000 else 0), np.asarray(block.counts))
        flex.take(moved, analyzer.feed(moved))
    assert flex.count == 0


def test_a_contact_that_bounces_for_hours_takes_no_more_memory_and_every_bounce_counts() -> None:
    wire = WireTally("in1", "feed")
    for number in range(100_000):
        wire.add(number * 0.01)
    assert (wire.count, wire.last_s) == (100_000, 999.99)
    assert len(wire.latest_s) <= 501
    wire.withdraw(998.995)
    assert wire.count == 99_900
