"""Every hookup with faults, and position under stress: nobody is ever named wrongly."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.simulated.faults import Fault
from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import Knot, Scenario, constant
from drivers.simulated.source import SimulatedEngine
from monitor.firing.records import Outcome as Became
from tests.bench import accuracy
from tests.bench.accuracy import HOOKUPS, TIMINGS, Hookup, Run
from tests.monitor.engines import ORDERS, THREE_LEADS, Outcome, Score, all_leads, analyse, score

FEW_OR_ALL = pytest.mark.parametrize("inputs", [THREE_LEADS, all_leads(6)], ids=["three leads", "all controls"])


def stressed(
    scenario: Scenario, *faults: Fault, inputs: tuple[str, ...] = THREE_LEADS, duration_s: float = 6.0, seed: int = 1
) -> tuple[Score, Outcome]:
    """Score and analysis of a six."""
    source = SimulatedEngine(
        EngineModel(6, ORDERS[6]),
        scenario,
        faults,
        inputs=inputs,
        sample_rate_hz=50_000.0,
        duration_s=duration_s,
        seed=seed,
    )
    found = analyse(source)
    return score(found.firings, source.truth()), found


@pytest.mark.parametrize("timing", TIMINGS)
@pytest.mark.parametrize("hookup", HOOKUPS, ids=lambda hookup: hookup.name)
def test_every_hookup_is_read_right(hookup: Hookup, timing: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(accuracy, "FAULT_SHARE", 0.02)
    result = Run(hookup, "cruise", timing, 20_000.0, 0.02, 5.0, 7).score()
    assert not result.is_wrong, result
    assert result.found > 0


@FEW_OR_ALL
@pytest.mark.parametrize("rpm", [150.0, 400.0, 8000.0])
def test_the_slowest_and_the_fastest_engine_are_read_right(rpm: float, inputs: tuple[str, ...]) -> None:
    result, _ = stressed(constant(rpm), Fault("no-answer", 4, 0.05), Fault("no-answer", 2, 0.05), inputs=inputs)
    assert not result.is_wrong, result
    assert result.found > 0 or rpm < 200.0


@FEW_OR_ALL
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_ten_thousand_rpm_a_second_up_and_down_misname_nobody(inputs: tuple[str, ...], seed: int) -> None:
    knots = (Knot(0.0, 800.0), Knot(2.0, 800.0), Knot(2.6, 6800.0), Knot(3.0, 6800.0), Knot(3.6, 800.0))
    result, _ = stressed(Scenario(knots), Fault("no-answer", 4, 0.05), inputs=inputs, seed=seed)
    assert not result.is_wrong, result
    assert result.unobserved_share < 0.01


@FEW_OR_ALL
@pytest.mark.parametrize("long_s", [0.01, 0.03, 0.08, 0.12])
def test_a_burst_of_missing_answers_up_to_a_cycle_misnames_nobody(inputs: tuple[str, ...], long_s: float) -> None:
    """At 1500 rpm a turn is 13 ms and a cycle 80 ms."""
    bursts = [Fault("line-open", None, 1.0, at_s, at_s + long_s) for at_s in (2.0, 2.613, 3.337, 4.105)]
    result, _ = stressed(constant(1500.0), *bursts, inputs=inputs)
    assert not result.is_wrong, result


@pytest.mark.parametrize("share", [0.1, 0.5, 1.0])
def test_a_reference_that_is_not_called_misnames_nobody(share: float) -> None:
    result, _ = stressed(constant(1500.0), Fault("no-call", 1, share, 2.0, 4.0), Fault("no-answer", 4, 0.05))
    assert not result.is_wrong, result
    assert result.found > 0


@FEW_OR_ALL
@settings(max_examples=8, derandomize=True)
@given(long_s=st.floats(0.01, 0.3), at_s=st.floats(2.0, 3.0), rpm=st.floats(700.0, 6000.0))
def test_after_a_gap_the_roll_goes_on_within_two_cycles(
    inputs: tuple[str, ...], long_s: float, at_s: float, rpm: float
) -> None:
    result, found = stressed(
        constant(rpm),
        Fault("lost-samples", None, 1.0, at_s, at_s + long_s),
        Fault("no-answer", 4, 0.03),
        inputs=inputs,
        duration_s=4.5,
    )
    assert not result.is_wrong, result
    _is_locked_again(found, at_s + long_s, rpm)


@FEW_OR_ALL
@pytest.mark.parametrize("long_s", [0.2, 0.5, 1.5])
def test_after_a_cut_the_roll_goes_on_within_two_cycles(inputs: tuple[str, ...], long_s: float) -> None:
    knots = (Knot(0.0, 2500.0), Knot(2.0, 2500.0, "cut"), Knot(2.0 + long_s, 1500.0))
    result, found = stressed(Scenario(knots), inputs=inputs)
    assert not result.is_wrong, result
    _is_locked_again(found, 2.0 + long_s, 1500.0)


def _is_locked_again(found: Outcome, at_s: float, rpm: float) -> None:
    """Whether all six are entered as answered from two cycles of 120 / rpm seconds behind `at_s` on."""
    cycle_s = 120.0 / rpm
    named = [
        firing.cylinder
        for firing in found.firings
        if at_s + 2 * cycle_s < firing.time_s < at_s + 3.1 * cycle_s and firing.outcome is not Became.UNOBSERVED
    ]
    assert set(named) == set(range(1, 7))
