"""Supply profiles of the standards, played on the feed: what is a feed fault, and what is only a starter.

ISO 16750-2 (12 V systems): starting profile I, 12 V to 8 V in 5 ms, 15 ms there, 50 ms up to a 9.5 V floor with 2 V
peak to peak at 2 Hz for 1 s, 40 ms back; momentary drop (4.6.1) to 4.5 V for 100 ms, edges of 10 ms at most; supply
codes A to D (table 1). ISO 7637-2:2004, pulse 4: starting, by 4 to 7 V for 15 to 40 ms, then by 2.5 to 6 V.
"""

import math
from itertools import pairwise

import pytest

from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import CRANK, RUN, STAND, Knot, Scenario
from drivers.simulated.source import SimulatedEngine
from monitor.flags import Kind, Severity
from monitor.setup import Limits
from tests.monitor.engines import ORDERS, THREE_LEADS, Outcome, all_leads, analyse, score

Profile = tuple[tuple[float, float], ...]

AT_S = 0.5
DROP_S = 2.0
RUNNING_V = 13.8
STARTED: tuple[Knot, ...] = (
    Knot(0.0, 0.0, STAND),
    Knot(AT_S, 0.0, CRANK),
    Knot(AT_S + 0.15, 200.0, CRANK),
    Knot(AT_S + 1.1, 230.0, RUN),
    Knot(AT_S + 1.6, 1200.0, RUN),
    Knot(AT_S + 2.5, 850.0, RUN),
)
CODES_V = {"A": 6.0, "B": 8.0, "C": 9.0, "D": 10.5}
"""Lowest supply at which equipment of each code works."""


def starting_profile() -> Profile:
    ripple = [(AT_S + 0.07 + n / 100, 9.5 + math.sin(2.0 * math.pi * 2.0 * n / 100)) for n in range(101)]
    fall = [(0.0, 12.0), (AT_S, 12.0), (AT_S + 0.005, 8.0), (AT_S + 0.020, 8.0)]
    end_s = AT_S + 0.07 + 1.0
    return (*fall, *ripple, (end_s + 0.04, 12.0), (end_s + 0.4, RUNNING_V))


def pulse_4(fall_v: float, stay_v: float, long_s: float, at_s: float = AT_S) -> Profile:
    """Down by `fall_v` for `long_s`, then by `stay_v` while the starter turns; its edges take 5 ms and 50 ms."""
    fall = [(0.0, 12.0), (at_s, 12.0), (at_s + 0.005, 12.0 - fall_v), (at_s + 0.005 + long_s, 12.0 - fall_v)]
    stay = [(at_s + 0.055 + long_s, 12.0 - stay_v), (at_s + 1.2, 12.0 - stay_v)]
    return (*fall, *stay, (at_s + 1.25, 12.0), (at_s + 1.6, RUNNING_V))


def drop(edge_s: float) -> Profile:
    edges = [DROP_S, DROP_S + edge_s, DROP_S + edge_s + 0.1, DROP_S + 2 * edge_s + 0.1]
    return ((0.0, RUNNING_V), *zip(edges, (RUNNING_V, 4.5, 4.5, RUNNING_V), strict=True))


def played(
    profile: Profile,
    knots: tuple[Knot, ...],
    *,
    cylinders: int = 6,
    feed_ohm: float = 0.08,
    inputs: tuple[str, ...] = THREE_LEADS,
) -> Outcome:
    """Analysis of an engine whose battery follows `profile`; nobody's turn may be read as a fault of the coil."""
    engine = SimulatedEngine(
        EngineModel(cylinders, ORDERS[cylinders], feed_resistance_ohm=feed_ohm),
        Scenario(knots, battery_v=profile),
        inputs=inputs,
        sample_rate_hz=50_000.0,
        duration_s=4.0,
    )
    found = analyse(engine)
    assert not score(found.firings, engine.truth()).is_wrong
    return found


def above_info(found: Outcome) -> list[str]:
    return [f"{flag.kind} {flag.detail}" for flag in found.flags if flag.severity is not Severity.INFO]


@pytest.mark.parametrize("inputs", [THREE_LEADS, (*all_leads(6), "battery")], ids=["three leads", "all and battery"])
def test_the_starting_profile_is_no_feed_fault(inputs: tuple[str, ...]) -> None:
    found = played(starting_profile(), STARTED, inputs=inputs)
    assert above_info(found) == []
    assert len(found.firings) > 60


@pytest.mark.parametrize("cylinders", [3, 4, 8])
def test_the_starting_profile_under_an_engine_that_fires_already_is_none_either(cylinders: int) -> None:
    """As when a running engine's rail is pulled down by some other load: sparks fall into every part of it."""
    found = played(starting_profile(), (Knot(0.0, 300.0),), cylinders=cylinders)
    assert above_info(found) == []


@pytest.mark.parametrize(("fall_v", "stay_v", "long_s"), [(4.0, 2.5, 0.015), (5.5, 6.0, 0.04), (5.9, 2.5, 0.04)])
def test_the_starting_pulse_is_no_feed_fault_above_the_lowest_code(fall_v: float, stay_v: float, long_s: float) -> None:
    assert above_info(played(pulse_4(fall_v, stay_v, long_s), STARTED)) == []


def test_the_starting_pulse_at_its_worst_is_a_dropout() -> None:
    """7 V off 12 V is below code A, the lowest supply at which any 12 V equipment need work."""
    found = played(pulse_4(7.0, 5.0, 0.04, DROP_S), (Knot(0.0, 300.0),))
    (flag,) = (flag for flag in found.flags if flag.kind is Kind.SUPPLY_DROPOUT)
    assert flag.start_s == pytest.approx(DROP_S + 0.005 * 6.0 / 7.0, abs=0.001)
    assert len(above_info(found)) == 1


@pytest.mark.parametrize("edge_s", [0.001, 0.005, 0.01])
@pytest.mark.parametrize("cylinders", [1, 2, 4, 6, 8])
def test_the_momentary_drop_is_one_dropout_from_its_start_to_its_end(cylinders: int, edge_s: float) -> None:
    found = played(drop(edge_s), (Knot(0.0, 900.0),), cylinders=cylinders, feed_ohm=0.0, inputs=all_leads(cylinders))
    assert [flag.kind for flag in found.flags if flag.severity is not Severity.INFO] == [Kind.SUPPLY_DROPOUT]
    (flag,) = (flag for flag in found.flags if flag.kind is Kind.SUPPLY_DROPOUT)
    below_s = edge_s * (RUNNING_V - 6.0) / (RUNNING_V - 4.5)
    back_s = edge_s * (6.5 - 4.5) / (RUNNING_V - 4.5)
    grid_s = 0.5e-3  # the simulated battery is straight between points this far apart
    assert flag.severity is Severity.FAULT
    assert flag.start_s == pytest.approx(DROP_S + below_s, abs=grid_s)
    assert flag.end_s == pytest.approx(DROP_S + edge_s + 0.1 + back_s, abs=grid_s)
    assert "down to 4." in flag.detail


def test_the_momentary_drop_is_a_dropout_to_an_engine_that_charges_through_its_feed() -> None:
    found = played(drop(0.01), (Knot(0.0, 900.0),))
    (flag,) = (flag for flag in found.flags if flag.kind is Kind.SUPPLY_DROPOUT)
    assert flag.end_s is not None
    assert flag.end_s - flag.start_s == pytest.approx(0.1, abs=0.01)


def test_limits_of_the_feed_stand_in_the_order_of_the_supply_codes() -> None:
    limits = Limits()
    assert all(low < high for low, high in pairwise(CODES_V.values()))
    assert limits.supply_dropout_v == CODES_V["A"]
    assert CODES_V["C"] < limits.supply_low_cranking_v < CODES_V["D"] < limits.supply_low_running_v < 16.0
