"""The engine's turns: order, time, cuts, and what the wires show of them."""

import math
from itertools import pairwise

import numpy as np
import pytest

from drivers.simulated.model import Acknowledgement, Advance, EngineModel
from drivers.simulated.scenario import Knot, Scenario, constant, named
from drivers.simulated.truth import TrueFiring

from .bench import Volts, crossings, plain, run, steady


def _follow(order: tuple[int, ...], cylinders: list[int]) -> bool:
    return all(order[(order.index(a) + 1) % len(order)] == b for a, b in pairwise(cylinders))


@pytest.mark.parametrize(
    ("cylinders", "rpm", "interval_ms"), [(6, 750, 26.667), (6, 3000, 6.667), (6, 6000, 3.333), (8, 6000, 2.5)]
)
def test_firing_intervals_match_the_textbook(cylinders: int, rpm: float, interval_ms: float) -> None:
    # Four strokes: 120000 / (rpm * N) ms. A whole cycle takes the compressions' pulsing out.
    firings = run(plain(cylinders=cylinders), steady(14.0, rpm)).engine.truth()
    sparks = np.array([f.spark_s for f in firings])
    cycles = sparks[cylinders:] - sparks[:-cylinders]
    np.testing.assert_allclose(cycles / cylinders * 1e3, interval_ms, rtol=2e-4)


@pytest.mark.parametrize("cylinders", [1, 2, 3, 4, 5, 6, 8, 10, 12])
def test_turns_follow_the_firing_order_through_a_whole_drive(cylinders: int) -> None:
    model = EngineModel(cylinders=cylinders)
    firings = run(model, named("snap"), duration_s=7.0, sample_rate_hz=20_000).engine.truth()
    assert _follow(model.firing_order, [f.cylinder for f in firings])
    assert all(b.turn == a.turn + 1 and b.spark_s > a.spark_s for a, b in pairwise(firings))


def test_uneven_engines_fire_at_their_angles() -> None:
    angles = (0.0, 150.0, 240.0, 390.0, 480.0, 630.0)
    firings = run(plain(firing_angles_deg=angles), steady(14.0, 1200.0), duration_s=2.0).engine.truth()
    start = next(i for i, f in enumerate(firings) if f.cylinder == 1)
    sparks = np.array([f.spark_s for f in firings[start : start + 7]])
    np.testing.assert_allclose((sparks[:6] - sparks[0]) / (sparks[6] - sparks[0]) * 720.0, angles, atol=3.0)


def test_a_two_stroke_fires_every_cylinder_once_a_revolution() -> None:
    firings = run(plain(cylinders=2, strokes=2), steady(14.0, 3000.0), duration_s=2.0).engine.truth()
    ones = [f.spark_s for f in firings if f.cylinder == 1]
    assert np.mean(np.diff(ones)) == pytest.approx(60.0 / 3000.0, rel=1e-3)


def test_waste_spark_fires_each_coil_once_a_revolution_on_either_control() -> None:
    model = plain(cylinders=4, firing_order=(1, 3, 4, 2), sparks_per_cycle=2)
    done = run(model, steady(14.0, 1500.0), inputs=("control1", "control4", "control2"))
    firings = done.engine.truth()
    assert {frozenset(f.cylinders) for f in firings} == {frozenset((1, 4)), frozenset((3, 2))}
    falls = crossings(done.volts["control1"], 2.5, done.rate_hz, rising=False)
    assert np.diff(falls) == pytest.approx(60.0 / 1500.0, rel=0.01)
    np.testing.assert_array_equal(done.volts["control1"], done.volts["control4"])
    assert len(falls) + len(crossings(done.volts["control2"], 2.5, done.rate_hz, rising=False)) == len(firings)


@pytest.mark.parametrize("rate_hz", [20_000.0, 100_000.0, 1_000_000.0])
def test_edges_on_the_wires_lie_where_truth_says(rate_hz: float) -> None:
    inputs = ("supply", "control1", "control4", "acknowledgement")
    done = run(inputs=inputs, sample_rate_hz=rate_hz, bits=16)
    inside = [f for f in done.engine.truth() if f.expected is not None]
    for name, cylinder in (("control1", 1), ("control4", 4)):
        calls = [f for f in inside if f.cylinder == cylinder]
        rises = crossings(done.volts[name], 2.425, rate_hz, rising=True)
        falls = crossings(done.volts[name], 2.425, rate_hz, rising=False)
        assert _apart([f.rise_s for f in calls], rises) < 0.05 / rate_hz
        assert _apart([f.spark_s for f in calls], falls) < 0.05 / rate_hz
    falls = crossings(done.volts["acknowledgement"], 2.83, rate_hz, rising=False)
    assert _apart([f.answer_start_s or 0.0 for f in inside], falls) < 0.05 / rate_hz


def _apart(expected_s: list[float], found_s: Volts) -> float:
    """Greatest distance from an expected time to the nearest found one."""
    return float(max(np.min(np.abs(found_s - time_s)) for time_s in expected_s))


def test_there_is_one_low_pulse_for_every_answer_and_no_other() -> None:
    done = run(duration_s=5.0, noise_v=0.01)
    falls = crossings(done.volts["acknowledgement"], 2.5, done.rate_hz, rising=False)
    assert len(falls) == sum(f.answered for f in done.engine.truth())


def test_the_feed_sags_by_what_the_current_drops_in_its_resistance() -> None:
    done = run(EngineModel(), steady(13.0), inputs=("supply", "current", "battery"))
    for firing in done.engine.truth()[2:-2]:
        just_before_s = firing.spark_s - 2e-5
        assert done.at("current", just_before_s) == pytest.approx(firing.current_a, abs=0.12)
        assert 13.0 - done.at("supply", just_before_s) == pytest.approx(0.08 * firing.current_a, abs=0.01)
        assert done.at("battery", just_before_s) == pytest.approx(13.0, abs=0.001)
        assert done.at("supply", firing.rise_s - 1e-4) == pytest.approx(13.0, abs=0.001)


def test_charges_overlap_at_high_speed_and_all_are_answered() -> None:
    # Four strokes: charges of 3 ms overlap above 3333 rpm on a twelve
    done = run(EngineModel(cylinders=12), constant(6000.0), inputs=("current", "acknowledgement"))
    firings = done.engine.truth()
    assert any(b.rise_s < a.spark_s for a, b in pairwise(firings))
    assert all(f.expected in ("acknowledged", None) for f in firings)
    assert done.volts["current"].max() > 6.5


def test_answers_at_spark_follow_the_cut() -> None:
    done = run(plain(acknowledgement=Acknowledgement(timing="at-spark")))
    for firing in done.engine.truth():
        assert firing.answer_start_s == pytest.approx(firing.spark_s + 0.1e-3)
        assert firing.answer_end_s == pytest.approx(firing.spark_s + 0.9e-3)


def test_repeated_sparks_come_only_at_low_speed_and_within_thirty_degrees() -> None:
    # Public engine-control tables: <= 1500 rpm, up to 2 extra, within 30 degrees of crank
    slow = run(EngineModel(repeated_sparks=2), constant(800.0), inputs=("control1", "acknowledgement"))
    ones = [f for f in slow.engine.truth() if f.cylinder == 1]
    assert all(f.repeats == 2 for f in ones)
    rises = crossings(slow.volts["control1"], 2.5, slow.rate_hz, rising=True)
    assert len(rises) == 3 * len(ones)
    fast = run(EngineModel(repeated_sparks=2), constant(2000.0))
    assert all(f.repeats == 0 for f in fast.engine.truth())


def test_jitter_is_about_one_degree() -> None:
    sparks = np.array([f.spark_s for f in run(duration_s=60.0, sample_rate_hz=5000).engine.truth()])
    quiet_model = EngineModel(advance=Advance(jitter_deg=0.0))
    quiet = np.array([f.spark_s for f in run(quiet_model, duration_s=60.0, sample_rate_hz=5000).engine.truth()])
    spread_deg = np.std(sparks - quiet) * 800.0 * 6.0
    assert spread_deg == pytest.approx(1.0, abs=0.1)


def test_timing_steps_move_the_spark() -> None:
    stepping = run(plain(advance=Advance(jitter_deg=0.0, step_deg=10.0)), steady(14.0), duration_s=4.0).engine.truth()
    even = run(plain(), steady(14.0), duration_s=4.0).engine.truth()
    late_deg = np.array([(a.spark_s - b.spark_s) * 4800.0 for a, b in zip(stepping, even, strict=True)])
    assert set(np.round(late_deg / 5.0)) == {0.0, 2.0}


def test_starting_is_silent_until_the_engine_is_synchronised_and_then_answered() -> None:
    done = run(
        scenario=named("crank-and-idle"), duration_s=4.0, inputs=("supply", "battery", "control1", "acknowledgement")
    )
    firings = done.engine.truth()
    assert 1.35 < firings[0].spark_s < 1.8
    assert all(f.expected in ("acknowledged", None) for f in firings)
    # ISO 16750-2 starting profile I, 8 V within 5 ms, 15 ms, 50 ms up to the floor
    assert done.at("battery", 0.9) == pytest.approx(12.6, abs=0.02)
    assert done.at("battery", 1.012) == pytest.approx(8.0, abs=0.02)
    assert 9.0 < done.between("battery", 1.1, 2.3).min() < done.between("battery", 1.1, 2.3).max() < 10.6
    assert done.between("acknowledgement", 0.0, 1.3).min() > 4.9


def test_a_switched_off_engine_shows_no_feed_and_no_line() -> None:
    done = run(scenario=named("stop"), duration_s=7.0)
    assert done.between("supply", 5.1, 7.0).max() < 0.2
    assert done.between("acknowledgement", 5.1, 7.0).max() < 0.2
    assert max(f.spark_s for f in done.engine.truth()) < 5.0


def test_key_on_and_engine_off_every_wire_rests_and_nothing_is_called() -> None:
    inputs = ("supply", "battery", "ground", "control1", "acknowledgement", "injector1")
    done = run(scenario=named("key-on"), duration_s=3.0, inputs=inputs)
    # battery at rest 12.6 V, line near 5 V (common practice, no source); driver input low below 0.8 V (a data sheet)
    for name, rest_v in (("supply", 12.6), ("battery", 12.6), ("ground", 0.0), ("injector1", 12.6)):
        assert done.volts[name] == pytest.approx(rest_v, abs=0.01)
    assert done.volts["control1"].max() < 0.8
    assert 4.9 < done.volts["acknowledgement"].min() <= done.volts["acknowledgement"].max() < 5.1
    assert (done.engine.truth(), done.engine.events()) == ((), ())


def test_cuts_are_no_opportunities_and_are_told_as_events() -> None:
    scenario = Scenario((Knot(0, 3000), Knot(1, 3000, "cut"), Knot(1.5, 3000)))
    engine = run(scenario=scenario, duration_s=3.0).engine
    assert not [f for f in engine.truth() if 1.0 < f.spark_s < 1.5]
    [cut] = [e for e in engine.events() if e.kind == "all-cut"]
    assert cut.start_s == pytest.approx(1.0, abs=0.01)
    assert cut.end_s == pytest.approx(1.5, abs=0.01)


def test_the_limiter_cuts_whole_cycles_and_fires_in_between() -> None:
    scenario = Scenario((Knot(0, 6000), Knot(0.5, 6000, "limiter"), Knot(2, 6000)))
    engine = run(scenario=scenario, duration_s=3.0).engine
    cuts = [e for e in engine.events() if e.kind == "all-cut"]
    assert len(cuts) > 5
    assert any(0.6 < f.spark_s < 1.9 for f in engine.truth())


def test_overrun_stops_the_fuel_but_not_the_calls() -> None:
    scenario = Scenario((Knot(0, 3000), Knot(1, 3000, "overrun"), Knot(2, 3000)))
    done = run(scenario=scenario, duration_s=3.0, inputs=("control1", "injector1"))
    opened = crossings(done.volts["injector1"], 6.0, done.rate_hz, rising=False)
    assert len(opened[opened < 1.0]) > 20
    assert not len(opened[(opened > 1.05) & (opened < 2.0)])
    assert len(opened[opened > 2.1]) > 15
    called = crossings(done.volts["control1"], 2.5, done.rate_hz, rising=False)
    assert np.diff(called).max() < 0.045


def test_the_cold_start_drive_has_everything_in_it_and_nothing_wrong() -> None:
    engine = run(
        EngineModel(repeated_sparks=2), named("cold-start-drive"), duration_s=120.0, sample_rate_hz=10_000
    ).engine
    firings = engine.truth()
    assert {f.expected for f in firings} <= {"acknowledged", None}
    assert any(f.repeats for f in firings)
    assert sum(e.kind == "all-cut" for e in engine.events()) > 5
    assert max(f.rpm for f in firings) > 6000.0
    assert min(f.rpm for f in firings) < 260.0


def test_a_stalled_engine_starts_again_where_it_stopped() -> None:
    scenario = Scenario(
        (
            Knot(0, 800),
            Knot(1, 800, "stand"),
            Knot(1.5, 0, "stand"),
            Knot(2, 0, "crank"),
            Knot(2.3, 220, "crank"),
            Knot(3, 250),
            Knot(3.5, 900),
        )
    )
    firings = run(scenario=scenario, duration_s=5.0).engine.truth()
    assert not [f for f in firings if 1.0 < f.spark_s < 2.3]
    assert all(f.expected in ("acknowledged", None) for f in firings)
    again = [f.cylinder for f in firings if f.spark_s > 2.3]
    assert _follow(EngineModel().firing_order, again)


def test_truth_and_samples_do_not_change_with_the_inputs_connected() -> None:
    few = run(inputs=("control1",)).engine.truth()
    many = run(inputs=("supply", "control1", "control2", "acknowledgement", "injector3")).engine.truth()
    assert [_physics(f) for f in few] == [_physics(f) for f in many]


def _physics(firing: TrueFiring) -> tuple[float | None, ...]:
    return firing.rise_s, firing.spark_s, firing.answer_start_s, firing.answer_end_s, firing.current_a


def test_a_momentary_drop_can_be_played_on_the_feed() -> None:
    # ISO 16750-2 4.6.1, to 4.5 V for 100 ms with edges of at most 10 ms
    drop = ((0.0, 12.0), (0.5, 12.0), (0.505, 4.5), (0.605, 4.5), (0.61, 12.0))
    done = run(plain(), Scenario(constant(800.0).knots, battery_v=drop), inputs=("battery", "supply"))
    assert done.between("battery", 0.506, 0.604) == pytest.approx(4.5, abs=0.01)
    assert done.at("battery", 0.5025) == pytest.approx(8.25, abs=0.01)
    assert done.at("battery", 0.62) == pytest.approx(12.0, abs=0.01)


def test_the_marker_goes_high_when_it_is_pressed() -> None:
    scenario = Scenario(constant(800.0).knots, marks_s=(0.3,))
    done = run(scenario=scenario, inputs=("marker",))
    assert crossings(done.volts["marker"], 2.5, done.rate_hz, rising=True) == pytest.approx([0.3], abs=1e-4)
    assert [(e.kind, e.start_s) for e in done.engine.events()] == [("mark", 0.3)]


def test_answers_that_begin_under_another_are_told() -> None:
    model = plain(cylinders=12, acknowledgement=Acknowledgement(timing="at-spark", width_s=1.6e-3))
    firings = run(model, steady(14.0, 8000.0), inputs=("acknowledgement",), duration_s=0.3).engine.truth()
    assert all(f.merged for f in firings[1:])
    assert not any(f.merged for f in run(model, steady(14.0, 4000.0), duration_s=0.3).engine.truth())


def test_key_off_lasts_over_knots_until_the_key_is_turned_again() -> None:
    scenario = Scenario(
        (Knot(0, 0, "off"), Knot(1, 0, "off"), Knot(2, 0, "stand"), Knot(3, 0, "off"), Knot(4, 0, "off"))
    )
    assert scenario.key_off() == ((0, 2), (3, math.inf))
    assert constant(800.0).key_off() == ()
