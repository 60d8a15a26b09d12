"""Roles proposed from samples alone, held against what is connected to simulated engines and in recordings."""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.errors import SourceLost
from drivers.registry import source_for
from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import constant
from drivers.simulated.source import SimulatedEngine
from monitor.proposal import Proposal, Sureness, look_at, propose
from monitor.proposal.look import Look, joined
from monitor.proposal.portrait import portrait
from monitor.setup import Role
from tests.bench.proposal import cases, wrong
from tests.monitor.engines import ORDERS, all_leads
from tests.monitor.streams import Played, engine_running

FIXTURES = Path(__file__).parents[3] / "fixtures"
RATE_HZ = 20_000.0


def proposed(inputs: tuple[str, ...], cylinders: int = 6, rpm: float = 800.0, duration_s: float = 3.0) -> Proposal:
    model = EngineModel(cylinders, firing_order=ORDERS[cylinders])
    engine = SimulatedEngine(model, constant(rpm), inputs=inputs, sample_rate_hz=RATE_HZ, duration_s=duration_s)
    return propose(look_at(engine))


def look_of(*volts: np.ndarray) -> Look:
    """Inputs of +-20 V in 16 bits."""
    step_v = 20.0 / 32768
    channels = tuple(ChannelInfo(f"in{n}", step_v) for n in range(1, len(volts) + 1))
    counts = np.clip(np.rint(np.array(volts) / step_v), -32768, 32767).astype(np.int16)
    return joined(StreamInfo("bench", RATE_HZ, channels, counts.dtype), [SampleBlock(0, counts)])


@pytest.mark.parametrize(
    "name", ["cylinder-4-now-and-then", "cylinder-4-now-and-then-csv.csv", "feed-dropout", "healthy-idle"]
)
def test_the_recordings_kept_are_told_firmly(name: str) -> None:
    found = propose(look_at(source_for(str(FIXTURES / name))))
    assert [one.role for one in found.verdicts] == [Role.SUPPLY, Role.CONTROL, Role.ACKNOWLEDGEMENT]
    assert {one.sureness for one in found.verdicts} == {Sureness.FIRM}
    assert found.coils == 6


@pytest.mark.timeout(300)
def test_whatever_is_called_firm_over_simulated_engines_is_right() -> None:
    outcomes = sum((case.outcomes() for case in cases()[::97]), Counter())
    assert wrong(outcomes, "firm") == 0
    assert sum(n for (_, _, sure), n in outcomes.items() if sure == "firm") > 100


def test_the_whole_hookup_is_told_and_a_marker_never_pressed_is_not() -> None:
    inputs = ("supply", "battery", "current", "injector1", "marker", "control1", "acknowledgement")
    found = dict(zip(inputs, proposed(inputs).verdicts, strict=True))
    assert [one.role for one in found.values()] == [
        Role.SUPPLY, Role.BATTERY, Role.CURRENT, Role.INJECTOR, None, Role.CONTROL, Role.ACKNOWLEDGEMENT,
    ]  # fmt: skip
    assert found["injector1"].scale == 10.0
    assert found["injector1"].sureness is Sureness.LIKELY


@pytest.mark.parametrize("cylinders", [3, 4, 5, 6, 8, 12])
def test_answers_for_each_call_tell_how_many_coils_answer(cylinders: int) -> None:
    assert proposed(("control1", "acknowledgement"), cylinders).coils == cylinders


@pytest.mark.parametrize("cylinders", [3, 4, 6])
def test_controls_are_put_in_the_order_in_which_they_fire(cylinders: int) -> None:
    found = proposed(all_leads(cylinders), cylinders)
    fired = [int(name.removeprefix("in")) - 1 for name, _ in found.firing]  # in1 is the feed
    assert fired == list(ORDERS[cylinders])
    assert [part for _, part in found.firing] == pytest.approx(np.arange(cylinders) / cylinders, abs=0.02)


def test_twelve_volts_without_anything_to_hold_them_against_are_only_a_guess() -> None:
    (found,) = proposed(("supply",)).verdicts
    assert (found.role, found.sureness) == (Role.SUPPLY, Sureness.GUESS)


def test_a_control_with_nothing_that_bears_it_out_is_not_firm() -> None:
    (found,) = proposed(("control1",)).verdicts
    assert (found.role, found.sureness) == (Role.CONTROL, Sureness.LIKELY)


def test_an_input_at_the_end_of_its_range_is_said_to_be() -> None:
    engine = SimulatedEngine(inputs=("supply", "control1"), sample_rate_hz=RATE_HZ, duration_s=2.0, input_range_v=10.0)
    found = propose(look_at(engine)).verdicts[0]
    assert found.role is None
    assert "end of the input's range" in found.because


@pytest.mark.parametrize(("divide", "scale"), [(10.0, 10.0), (1.68, 1.68)])
def test_levels_behind_an_attenuator_give_its_scale_and_are_not_firm(divide: float, scale: float) -> None:
    """1.68 is the divider of drivers/serial_board/WIRING.md for 5 V."""
    info, blocks = engine_running(3.0)
    look = joined(info, list(blocks))
    channels = tuple(ChannelInfo(one.input, one.volts_per_count / divide) for one in info.channels)
    found = propose(Look(StreamInfo("divided", info.sample_rate_hz, channels, info.dtype), look.counts, look.breaks))
    assert [(one.role, one.scale) for one in found.verdicts[1:]] == [
        (Role.CONTROL, scale), (Role.ACKNOWLEDGEMENT, scale),
    ]  # fmt: skip
    assert all(one.sureness is not Sureness.FIRM for one in found.verdicts)


def test_frames_with_losses_between_them_are_told_as_well() -> None:
    info, blocks = engine_running(4.0)
    apart = [SampleBlock(one.first_index + n * 1000, one.counts) for n, one in enumerate(blocks)]
    found = propose(joined(info, apart))
    assert [one.role for one in found.verdicts] == [Role.SUPPLY, Role.CONTROL, Role.ACKNOWLEDGEMENT]


def pulses(starts_s: np.ndarray, width_s: float, rest_v: float, away_v: float, duration_s: float = 5.0) -> np.ndarray:
    at = np.arange(round(duration_s * RATE_HZ)) / RATE_HZ
    place = np.searchsorted(starts_s, at, "right") - 1
    inside = (place >= 0) & (at - starts_s[np.maximum(place, 0)] < width_s)
    return np.where(inside, away_v, rest_v)


@pytest.mark.parametrize("seed", range(10))
def test_calls_and_answers_that_have_nothing_to_do_with_each_other_are_not_firm(seed: int) -> None:
    draws = np.random.default_rng(seed)
    calls = pulses(np.arange(0.01, 5.0, 0.15), 2e-3, 0.05, 4.8)
    answers = pulses(np.cumsum(draws.exponential(0.004, 2000) + 1e-3), 0.6e-3, 4.95, 0.7)
    found = propose(look_of(calls, answers)).verdicts
    assert [one.role for one in found] == [Role.CONTROL, Role.ACKNOWLEDGEMENT]
    assert [one.sureness for one in found] == [Sureness.LIKELY, Sureness.LIKELY]


def test_calls_with_their_own_answers_are_firm() -> None:
    starts = np.arange(0.01, 5.0, 0.15)
    found = propose(look_of(pulses(starts, 2e-3, 0.05, 4.8), pulses(starts + 0.5e-3, 0.6e-3, 4.95, 0.7))).verdicts
    assert {one.sureness for one in found} == {Sureness.FIRM}


def test_what_a_loss_of_samples_cuts_through_is_no_pulse() -> None:
    volts = pulses(np.array([0.1, 0.3, 0.5]), 0.01, 0.05, 4.8, 0.6)
    whole = look_of(volts)
    lost_within = Look(whole.info, whole.counts, np.array([round(0.305 * RATE_HZ)]))
    assert len(portrait(whole, 0).starts) == 3
    assert len(portrait(lost_within, 0).starts) == 2


def test_a_source_without_samples_is_said_to_have_none() -> None:
    with pytest.raises(SourceLost, match="no samples came"):
        look_at(Played((engine_running()[0], ())))


def test_a_live_source_that_stays_silent_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.proposal.look.LIVE_S", 0.05)
    monkeypatch.setattr("monitor.proposal.look.PATIENCE_S", 0.05)
    source = Played((engine_running()[0], ()), is_endless=True, is_live=True)
    with pytest.raises(SourceLost, match="no samples came"):
        look_at(source)
    assert source.is_closed


def test_no_more_is_kept_than_was_wanted() -> None:
    look = look_at(SimulatedEngine(sample_rate_hz=1000.0, inputs=("supply",)))  # for ever
    assert look.duration_s == 30.0


def _garbage(kind: str, seed: int, samples: int) -> np.ndarray:
    draws = np.random.default_rng(seed)
    at = np.arange(samples) / RATE_HZ
    match kind:
        case "noise":
            volts = draws.normal(draws.uniform(-5, 15), draws.uniform(0, 5), samples)
        case "hum":
            volts = draws.uniform(0, 10) * np.sin(2 * np.pi * 50 * at) + draws.uniform(-2, 14)
        case "steady":
            volts = np.full(samples, draws.uniform(-20, 20))
        case "walk":
            volts = np.cumsum(draws.normal(0, 0.1, samples)) % 15
        case _:
            levels = draws.choice([0.0, 0.7, 5.0, 12.6, 14.2], 2)
            edges = np.cumsum(draws.exponential(draws.uniform(1e-3, 0.05), 2000) + 3e-4)
            volts = levels[np.searchsorted(edges, at) % 2]
    return volts + draws.normal(0, 0.02, samples)


@settings(max_examples=60)
@given(
    kinds=st.lists(st.sampled_from(["noise", "hum", "steady", "walk", "pulses"]), min_size=1, max_size=4),
    seed=st.integers(0, 2**31),
    samples=st.integers(1, 30_000),
)
def test_garbage_never_ends_in_an_error_and_is_never_called_firm(kinds: list[str], seed: int, samples: int) -> None:
    found = propose(look_of(*(_garbage(kind, seed + n, samples) for n, kind in enumerate(kinds))))
    assert len(found.verdicts) == len(kinds)
    assert all(one.sureness is not Sureness.FIRM for one in found.verdicts)


@settings(max_examples=60)
@given(
    rows=st.integers(1, 3).flatmap(
        lambda inputs: st.lists(
            st.lists(st.integers(-32768, 32767), min_size=inputs, max_size=inputs), min_size=1, max_size=60
        )
    ),
    volts_per_count=st.sampled_from([1e-12, -1e-3, 1e-3, 1.0, 1e6]),
    offset_v=st.sampled_from([0.0, -5.0, 1e9]),
)
def test_any_counts_on_any_scale_are_looked_at_without_an_error(
    rows: list[list[int]], volts_per_count: float, offset_v: float
) -> None:
    counts = np.array(rows, np.int16).T
    channels = tuple(ChannelInfo(f"in{n}", volts_per_count, offset_v) for n in range(1, len(counts) + 1))
    info = StreamInfo("any", RATE_HZ, channels, counts.dtype)
    found = propose(joined(info, [SampleBlock(0, counts)]))
    assert all(one.sureness is not Sureness.FIRM for one in found.verdicts)
