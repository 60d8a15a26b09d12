"""Firing intervals and windows through the whole analysis.

An engine of N cylinders and four strokes fires every 120000 / (rpm · N) ms, each coil at rpm / 120 Hz, with waste spark
at rpm / 60 Hz: two revolutions a cycle. Windows of 200 and 1000 revolutions: 13 CCR 1968.2 (e)(3).
"""

from itertools import pairwise
from statistics import fmean, median

import pytest

from drivers.simulated.faults import Fault
from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import Knot, Scenario
from drivers.simulated.source import SimulatedEngine
from monitor.firing.rota import Rota
from monitor.misses import verdict_lines
from monitor.setup import parse_setup
from tests.monitor.engines import ORDERS, THREE_LEADS, Outcome, analyse

IN_200 = {4: 400, 6: 600, 8: 800}


def at_speed(
    rpm: float, cylinders: int, duration_s: float, *faults: Fault, sparks: int = 1, rate_hz: float = 20_000.0
) -> Outcome:
    """Analysis of an engine that turns at exactly this speed, on three leads."""
    model = EngineModel(cylinders, ORDERS[cylinders], sparks_per_cycle=sparks)
    scenario = Scenario((Knot(0.0, rpm),), wander=0.0)
    return analyse(
        SimulatedEngine(
            model, scenario, faults, inputs=THREE_LEADS, sample_rate_hz=rate_hz, duration_s=duration_s, noise_v=0.005
        )
    )


@pytest.mark.parametrize(
    ("rpm", "cylinders", "cycle_ms", "interval_ms"),
    [
        (750.0, 6, 160.0, 26.667),
        (3000.0, 6, 40.0, 6.667),
        (6000.0, 6, 20.0, 3.333),
        (6000.0, 8, 20.0, 2.5),
        (750.0, 4, 160.0, 40.0),
        (3000.0, 4, 40.0, 10.0),
    ],
)
def test_speed_follows_from_the_firing_interval(
    rpm: float, cylinders: int, cycle_ms: float, interval_ms: float
) -> None:
    assert 120000.0 / (rpm * cylinders) == pytest.approx(interval_ms, abs=0.0005)
    found = at_speed(rpm, cylinders, 4.0, rate_hz=50_000.0)
    times_s = sorted(firing.time_s for firing in found.firings)
    assert fmean(b - a for a, b in pairwise(times_s)) * 1e3 == pytest.approx(interval_ms, rel=0.005)
    first = [firing.time_s for firing in found.firings if firing.cylinder == 1]
    assert fmean(b - a for a, b in pairwise(first)) * 1e3 == pytest.approx(cycle_ms, rel=0.005)
    assert median(firing.speed_rpm or 0.0 for firing in found.firings) == pytest.approx(rpm, rel=0.005)
    assert found.analyzer.snapshot().rpm == pytest.approx(rpm, rel=0.02)


@pytest.mark.parametrize(("rpm", "cylinders", "sparks", "coil_hz"), [(3000.0, 4, 1, 25.0), (3000.0, 4, 2, 50.0)])
def test_each_coil_fires_at_this_rate(rpm: float, cylinders: int, sparks: int, coil_hz: float) -> None:
    found = at_speed(rpm, cylinders, 4.0, sparks=sparks)
    assert coil_hz == rpm / (120.0 if sparks == 1 else 60.0)
    for cylinder in range(1, cylinders + 1):
        turns = sum(firing.cylinder == cylinder for firing in found.firings)
        assert turns == pytest.approx(4.0 * coil_hz, abs=2)


@pytest.mark.parametrize(
    ("cylinders", "rpm"), [(4, 10000.0), (6, 6667.0), (8, 5000.0), (12, 3333.0)], ids=lambda value: f"{value:g}"
)
def test_charges_of_three_milliseconds_overlap_above_this_speed(cylinders: int, rpm: float) -> None:
    text = f"[engine]\ncylinders = {cylinders}\nfiring_order = {list(ORDERS[cylinders])}\n"
    rota = Rota.of(parse_setup(text + '[[channel]]\ninput = "in1"\nrole = "acknowledgement"\n', "speed").engine)
    assert rota.turn_ticks(rpm, 1000.0) == pytest.approx(3.0, abs=0.0005)


@pytest.mark.parametrize("cylinders", sorted(IN_200))
def test_a_second_of_this_speed_fills_the_windows_of_revolutions(cylinders: int) -> None:
    """At 6000 rpm 200 revolutions take 2 s and 1000 take 10 s."""
    found = at_speed(6000.0, cylinders, 10.5)
    views = found.analyzer.snapshot().cylinders
    assert sum(view.last_200.turns for view in views) == IN_200[cylinders]
    assert sum(view.last_1000.turns for view in views) == 5 * IN_200[cylinders]
    assert found.analyzer.standing.revolutions == pytest.approx(1050.0, abs=4.0)
    seconds = [firing for firing in found.firings if 4.0 <= firing.time_s < 6.0]
    assert len(seconds) == pytest.approx(IN_200[cylinders], abs=2)


@pytest.mark.parametrize(("cylinders", "percent"), [(3, 33.333), (4, 25.0), (6, 16.667), (8, 12.5), (12, 8.333)])
def test_a_coil_that_never_answers_is_this_share_of_200_revolutions(cylinders: int, percent: float) -> None:
    found = at_speed(3000.0, cylinders, 4.5, Fault("no-answer", 3))
    views = found.analyzer.snapshot().cylinders
    missed = {view.cylinder: view.last_200 for view in views}
    assert missed[3] == (100, 100)
    share = sum(one.misses for one in missed.values()) / sum(one.turns for one in missed.values())
    assert 100 * share == pytest.approx(percent, abs=0.0005)
    assert verdict_lines(found.analyzer.standing)[0].startswith("Cylinder 3 may be named alone: ")


def test_standing_still_takes_no_room_in_a_window() -> None:
    """A stop of three seconds: the misses before it are still in the latest 200 revolutions."""
    stop = (Knot(3.0, 1500.0, "off"), Knot(3.2, 0.0, "off"), Knot(6.0, 0.0, "off"))
    start = (Knot(6.2, 250.0, "crank"), Knot(7.0, 250.0, "crank"), Knot(7.3, 1500.0))
    source = SimulatedEngine(
        EngineModel(4, ORDERS[4]),
        Scenario((Knot(0.0, 1500.0), *stop, *start), wander=0.0),
        (Fault("no-answer", 3, 0.3, end_s=2.9),),
        inputs=THREE_LEADS,
        sample_rate_hz=20_000.0,
        duration_s=11.0,
    )
    found = analyse(source)
    misses = [firing for firing in found.firings if firing.outcome == "unacknowledged"]
    assert len(misses) > 3
    view = next(view for view in found.analyzer.snapshot().cylinders if view.cylinder == 3)
    assert view.last_200.misses == len(misses)
    assert view.last_200.turns < 100
