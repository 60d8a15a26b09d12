"""The whole analysis against the simulated engine's truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from drivers.simulated.faults import Fault
from drivers.simulated.model import Acknowledgement, EngineModel
from drivers.simulated.scenario import OFF, STAND, Knot, Scenario, constant, named
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.firing.records import Outcome
from monitor.setup import parse_setup
from tests.monitor.engines import ORDERS, THREE_LEADS, against_truth, all_leads, analyse, is_exact

TIMINGS = ("during-charge", "at-spark")


def engine(
    cylinders: int = 6,
    *faults: Fault,
    timing: str = "during-charge",
    scenario: str | float | Scenario = "idle",
    inputs: tuple[str, ...] = THREE_LEADS,
    duration_s: float = 10.0,
    rate_hz: float = 50_000.0,
) -> SimulatedEngine:
    model = EngineModel(cylinders, ORDERS[cylinders], acknowledgement=Acknowledgement(timing))
    if not isinstance(scenario, Scenario):
        scenario = named(scenario) if isinstance(scenario, str) else constant(scenario)
    return SimulatedEngine(
        model,
        scenario,
        faults,
        inputs=inputs,
        sample_rate_hz=rate_hz,
        duration_s=duration_s,
    )


@pytest.mark.parametrize("timing", TIMINGS)
@pytest.mark.parametrize("cylinder", range(1, 7))
def test_three_leads_name_whichever_cylinder_does_not_answer(cylinder: int, timing: str) -> None:
    source = engine(6, Fault("no-answer", cylinder, 0.05), timing=timing)
    found = analyse(source)
    result = against_truth(found.firings, source.truth())
    assert is_exact(result), result
    assert result["unacknowledged -> unacknowledged"] > 0
    assert {flag.cylinder for flag in found.flags if flag.kind == "missing-acknowledgement"} == {cylinder}


@pytest.mark.parametrize("cylinders", [3, 4, 5, 6, 8, 12])
@pytest.mark.parametrize("speed_rpm", [900.0, 6000.0])
def test_every_control_connected_tells_who_was_not_called(cylinders: int, speed_rpm: float) -> None:
    faults = [Fault(kind, n, 0.008) for n in range(1, cylinders + 1) for kind in ("no-answer", "no-call")]
    source = engine(cylinders, *faults, scenario=speed_rpm, inputs=all_leads(cylinders), duration_s=3.0)
    result = against_truth(analyse(source).firings, source.truth())
    assert is_exact(result), result
    if speed_rpm > 1000.0:
        assert result["uncommanded -> uncommanded"] > 0


@pytest.mark.parametrize("timing", TIMINGS)
def test_the_roll_call_goes_on_from_the_answers_when_the_reference_is_no_longer_called(timing: str) -> None:
    source = engine(6, Fault("no-call", 1, start_s=3.0), Fault("no-answer", 4, 0.1), timing=timing)
    found = analyse(source)
    result = against_truth(found.firings, source.truth())
    assert is_exact(result), result
    assert result["uncommanded -> uncommanded"] > 30
    (flag,) = (flag for flag in found.flags if flag.kind == "missing-command")
    assert (flag.cylinder, flag.end_s) == (1, None)


def test_a_control_lead_that_shows_nothing_leaves_the_answers_to_be_counted_by_place() -> None:
    source = engine(6, Fault("no-call", 1), duration_s=30.0, rate_hz=20_000.0)
    found = analyse(source)
    result = against_truth(found.firings, source.truth(), by_name=False)
    # The first cycle stays in doubt: nothing tells yet which place is the one that is missing.
    assert result["acknowledged -> unobserved"] <= 6
    assert set(result) <= {
        "acknowledged -> acknowledged",
        "acknowledged -> unobserved",
        "uncommanded -> unacknowledged",
        "uncommanded -> unobserved",
    }
    assert found.kinds()["all-cut"] == 0
    assert found.kinds()["position-lost"] == 1


def test_strays_up_to_the_limit_are_let_pass() -> None:
    every = analyse(engine(6, Fault("stray-answer", None, 0.05), inputs=all_leads(6))).kinds()["stray-acknowledgement"]
    source = engine(6, Fault("stray-answer", None, 0.05), inputs=all_leads(6))
    text = (source.open().setup_toml or "") + "\n[limits]\nstray_acknowledgements = 3\n"
    assert analyse(source, setup=parse_setup(text, "three")).kinds()["stray-acknowledgement"] == every - 2 > 0


@pytest.mark.parametrize("scenario", ["crank-and-idle", "snap", "stop", "cold-start-drive"])
@pytest.mark.parametrize("inputs", [THREE_LEADS, all_leads(6)], ids=["three leads", "all controls"])
def test_a_healthy_engine_raises_no_fault_whatever_it_does(scenario: str, inputs: tuple[str, ...]) -> None:
    source = engine(6, scenario=scenario, inputs=inputs, duration_s=20.0, rate_hz=20_000.0)
    found = analyse(source)
    assert is_exact(against_truth(found.firings, source.truth()))
    assert [flag for flag in found.flags if flag.severity != "info"] == []


FAULTY = (
    Fault("no-answer", 4, 0.1),
    Fault("no-call", 1, 0.05),
    Fault("lost-samples", None, start_s=1.5, end_s=1.53),
    Fault("feed-dropout", None, start_s=2.0, end_s=2.004),
)


@settings(max_examples=20)
@given(st.lists(st.integers(1, 60_000), max_size=30))
def test_the_same_recording_gives_the_same_ledger_wherever_its_blocks_are_cut(cuts: list[int]) -> None:
    whole = analyse(engine(6, *FAULTY, duration_s=3.0, rate_hz=20_000.0))
    pieces = analyse(engine(6, *FAULTY, duration_s=3.0, rate_hz=20_000.0), cuts)
    assert pieces.firings == whole.firings
    assert pieces.flags == whole.flags


def test_lost_samples_are_said_and_their_turns_are_not_observed() -> None:
    source = engine(6, Fault("lost-samples", None, start_s=4.0, end_s=4.06))
    found = analyse(source)
    result = against_truth(found.firings, source.truth())
    assert is_exact(result), result
    assert result["unobserved -> unobserved"] > 0
    assert found.kinds() == {"lost-samples": 1}
    assert found.analyzer.snapshot().coverage == pytest.approx(1.0 - 0.06 / 10.0)


def test_a_silent_line_is_told_apart_from_a_coil() -> None:
    source = engine(6, Fault("line-open", None, start_s=3.0, end_s=4.0))
    found = analyse(source)
    assert is_exact(against_truth(found.firings, source.truth()))
    (flag,) = (flag for flag in found.flags if flag.kind == "acknowledgement-silent")
    assert 2.9 < flag.start_s < 3.2
    assert flag.end_s is not None
    assert 3.9 < flag.end_s < 4.2


def test_a_line_held_low_is_told_from_its_start_to_its_end() -> None:
    source = engine(6, Fault("line-held-low", None, start_s=3.0, end_s=3.5))
    found = analyse(source)
    (flag,) = (flag for flag in found.flags if flag.kind == "acknowledgement-held-low")
    assert flag.start_s == pytest.approx(3.0, abs=0.001)
    assert flag.end_s == pytest.approx(3.5, abs=0.001)
    assert flag.input == "in3"


def test_a_dropout_of_the_feed_is_flagged_with_its_length() -> None:
    found = analyse(engine(6, Fault("feed-dropout", None, start_s=3.0, end_s=3.005)))
    (flag,) = (flag for flag in found.flags if flag.kind == "supply-dropout")
    assert flag.start_s == pytest.approx(3.0, abs=0.0005)
    assert flag.end_s == pytest.approx(3.005, abs=0.0005)


def test_a_feed_that_falls_too_far_under_charge_is_flagged_as_sag() -> None:
    found = analyse(engine(6, Fault("feed-resistance", None, start_s=3.0, end_s=6.0, value=0.4)))
    sagging = [flag for flag in found.flags if flag.kind == "supply-sag"]
    assert {flag.cylinder for flag in sagging} == set(range(1, 7))
    assert all(2.9 < flag.start_s < 3.3 and flag.end_s is not None and flag.end_s < 6.4 for flag in sagging)


def test_outcomes_add_up_to_the_opportunities() -> None:
    found = analyse(engine(6, *FAULTY))
    for view in found.analyzer.snapshot().cylinders:
        counts = view.counts
        answered = sum(f.outcome is Outcome.ACKNOWLEDGED for f in found.firings if f.cylinder == view.cylinder)
        missing = counts.unacknowledged + counts.uncommanded + counts.unobserved
        assert answered + missing == counts.opportunities


def test_an_engine_that_is_switched_off_holds_no_line_low() -> None:
    stop = Scenario((Knot(0.0, 800.0), Knot(1.0, 800.0, OFF), Knot(2.0, 0.0, OFF)))
    found = analyse(engine(6, scenario=stop, inputs=("supply", "acknowledgement"), duration_s=3.0))
    assert found.kinds()["acknowledgement-held-low"] == 0


def test_a_key_turned_off_and_on_while_the_engine_stands_is_no_dropout() -> None:
    keys = Scenario((Knot(0.0, 0.0, STAND), Knot(0.5, 0.0, OFF), Knot(1.0, 0.0, STAND)))
    assert analyse(engine(6, scenario=keys, duration_s=1.5)).flags == ()


def test_a_gap_of_many_turns_is_no_cut() -> None:
    source = engine(6, Fault("lost-samples", None, start_s=1.0, end_s=1.15), inputs=all_leads(6), duration_s=2.0)
    found = analyse(source)
    assert is_exact(against_truth(found.firings, source.truth()))
    assert found.kinds() == {"lost-samples": 1}


def test_a_miss_is_found_once_answers_that_ran_together_stand_apart_again() -> None:
    fast = Scenario((Knot(0.0, 800.0), Knot(1.0, 800.0), Knot(1.5, 7000.0), Knot(2.0, 7000.0), Knot(2.5, 800.0)))
    model = EngineModel(12, ORDERS[12], acknowledgement=Acknowledgement("at-spark", width_s=1.8e-3))
    faults = (Fault("no-answer", 4, start_s=3.5),)
    found = analyse(SimulatedEngine(model, fast, faults, inputs=all_leads(12), sample_rate_hz=20_000, duration_s=5.0))
    assert found.kinds()["position-lost"] > 0
    missed = {(firing.cylinder, firing.outcome) for firing in found.firings if firing.time_s > 3.5}
    assert (4, Outcome.UNACKNOWLEDGED) in missed


def test_a_call_whose_answer_could_still_have_come_when_the_samples_ended_is_no_miss() -> None:
    def begun(duration_s: float) -> SimulatedEngine:
        return engine(6, timing="at-spark", inputs=all_leads(6), duration_s=duration_s, rate_hz=20_000.0)

    whole = begun(2.0)
    analyse(whole)
    for row in whole.truth()[40:46]:
        found = analyse(begun(row.spark_s + 0.3e-3))
        assert {firing.outcome for firing in found.firings} == {Outcome.ACKNOWLEDGED}


def test_a_clipped_input_is_told_as_one_until_it_was_quiet_for_a_second() -> None:
    setup = '[engine]\ncylinders = 1\nfiring_order = [1]\n[[channel]]\ninput = "in1"\nrole = "control"\ncylinder = 1\n'
    info = StreamInfo("bench:", 1e4, (ChannelInfo("in1", 1e-3),), np.dtype(np.int16))
    counts = np.zeros((1, 40_000), np.int16)
    for start_s in (0.45, 0.95, 2.55):
        counts[0, round(start_s * 1e4) :][:20] = info.channels[0].high_count
    analyzer = Analyzer(parse_setup(setup, "set-up"), info)
    flags = [flag for flag in analyzer.feed(SampleBlock(0, counts)).flags if flag.kind == "clipped-input"]
    # Said of tenths of a second, at their ends.
    assert [(flag.start_s, flag.end_s) for flag in flags] == [(0.5, 1.0), (2.6, 2.6)]
