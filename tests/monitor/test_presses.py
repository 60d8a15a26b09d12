"""A button on a marker input: which presses are found in its samples, wherever these are cut."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from drivers.simulated.scenario import Knot, Scenario
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.presses import Button, Press
from monitor.setup import parse_setup
from tests.monitor.engines import cut

RATE_HZ = 10_000.0
SETUP = """
[engine]
cylinders = 1
firing_order = [1]
[[channel]]
input = "in1"
role = "control"
cylinder = 1
[[channel]]
input = "in2"
role = "marker"
"""
Stays = Sequence[tuple[bool, float]]


def block_of(stays: Stays, high_v: float = 5.0) -> SampleBlock:
    """An input that stands high or low for so many milliseconds, in turn; 1 mV a count; no call beside it."""
    levels = [np.full(round(lasting_ms * RATE_HZ / 1e3), 1e3 * high_v * is_high) for is_high, lasting_ms in stays]
    contact = np.concatenate(levels).astype(np.int16)
    return SampleBlock(0, np.stack([np.zeros_like(contact), contact]))


def presses_in(*blocks: SampleBlock) -> tuple[Press, ...]:
    info = StreamInfo("bench:", RATE_HZ, (ChannelInfo("in1", 1e-3), ChannelInfo("in2", 1e-3)), np.dtype(np.int16))
    analyzer = Analyzer(parse_setup(SETUP, "set-up"), info)
    steps = [*map(analyzer.feed, blocks), analyzer.finish()]
    return tuple(press for step in steps for press in step.presses)


def times_ms(presses: Sequence[Press]) -> list[float]:
    return [round(press.time_s * 1e3, 1) for press in presses]


@pytest.mark.parametrize("high_v", [3.3, 5.0, 12.0])
@pytest.mark.parametrize("rest", [False, True])
def test_each_press_is_told_once_at_its_beginning_whichever_level_means_pressed(high_v: float, rest: bool) -> None:
    stays = [(rest, 700.0), (not rest, 150.0), (rest, 300.0), (not rest, 500.0), (rest, 4000.0), (not rest, 50.0)]
    found = presses_in(block_of([*stays, (rest, 100.0)], high_v))
    assert times_ms(found) == pytest.approx([700.0, 1150.0, 5650.0], abs=0.15)
    assert {press.by for press in found} == {"marker in2"}


@pytest.mark.parametrize("rest", [False, True])
def test_a_contact_that_bounces_is_one_press_where_it_comes_to_rest(rest: bool) -> None:
    bounces = [(not rest, 2.0), (rest, 1.0), (not rest, 0.5), (rest, 3.0)]
    stays = [(rest, 500.0), *bounces, (not rest, 120.0), (rest, 1.5), (not rest, 1.0), (rest, 400.0)]
    assert times_ms(presses_in(block_of(stays))) == pytest.approx([506.5], abs=0.15)


def test_what_is_shorter_than_a_bounce_lasts_is_no_press() -> None:
    assert presses_in(block_of([(False, 300.0), (True, 19.0), (False, 300.0)])) == ()


def test_a_button_held_from_before_the_first_sample_costs_one_wrong_press_and_no_more() -> None:
    stays = [(True, 400.0), (False, 3000.0), (True, 100.0), (False, 200.0)]
    assert times_ms(presses_in(block_of(stays))) == pytest.approx([400.0, 3400.0], abs=0.15)


def test_one_that_never_moves_tells_nothing() -> None:
    assert presses_in(block_of([(True, 2000.0)])) == presses_in(block_of([(False, 2000.0)])) == ()


def test_a_press_that_began_in_a_gap_is_not_told_and_what_was_learned_before_the_gap_stays() -> None:
    stays = [(False, 100.0), (True, 50.0), (False, 850.0), (True, 500.0), (False, 30.0), (True, 100.0), (False, 50.0)]
    whole = block_of(stays)
    before, after = whole.counts[:, :9_000], whole.counts[:, 12_000:]
    found = presses_in(SampleBlock(0, before), SampleBlock(12_000, after))
    assert times_ms(found) == pytest.approx([100.0, 1530.0], abs=0.15)


def test_what_the_button_did_in_a_gap_counts_for_neither_level() -> None:
    whole = block_of([(False, 500.0), (True, 5000.0), (False, 500.0), (True, 100.0), (False, 100.0)])
    before, after = whole.counts[:, :7_000], whole.counts[:, 54_000:]
    assert times_ms(presses_in(SampleBlock(0, before), SampleBlock(54_000, after))) == pytest.approx(
        [500.0, 6000.0], abs=0.15
    )


@settings(max_examples=60)
@given(
    lasting_ms=st.lists(st.floats(0.2, 200.0), min_size=1, max_size=20),
    begins_high=st.booleans(),
    cuts=st.lists(st.integers(1, 40_000), max_size=30),
)
def test_the_same_presses_come_out_wherever_the_blocks_are_cut(
    lasting_ms: list[float], begins_high: bool, cuts: list[int]
) -> None:
    block = block_of([(begins_high ^ (n % 2 == 1), one) for n, one in enumerate(lasting_ms)])
    assert presses_in(*cut(block, cuts)) == presses_in(block)


@given(st.lists(st.integers(1, 1000), min_size=2, max_size=40))
def test_a_change_is_a_press_exactly_if_it_leaves_the_level_that_it_has_stood_at_longer(lasting: list[int]) -> None:
    told: list[int] = []
    button = Button(told.append)
    at, stood = 0, {True: 0, False: 0}
    for n, one in enumerate(lasting):
        is_high = n % 2 == 0
        stood[not is_high], at = stood[not is_high] + one, at + one
        button.stay(at, is_high=is_high, is_bounce=False)
        assert (told[-1:] == [at]) is (stood[not is_high] > stood[is_high])


def test_the_simulated_engines_button_is_found_while_the_engine_runs() -> None:
    scenario = Scenario((Knot(0.0, 800.0),), marks_s=(0.7, 1.9))
    engine = SimulatedEngine(
        None,
        scenario,
        inputs=("supply", "control1", "acknowledgement", "marker"),
        sample_rate_hz=20_000,
        duration_s=3.0,
    )
    info = engine.open()
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info)
    found = [press for block in engine.blocks() for press in analyzer.feed(block).presses]
    assert times_ms(found) == pytest.approx([700.0, 1900.0], abs=0.3)
    assert {press.by for press in found} == {"marker in4"}
