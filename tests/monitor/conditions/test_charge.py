"""Controls and no acknowledgement line: the feed or a clamp tells that a called coil did not charge."""

import pytest

from drivers.simulated.faults import Fault
from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import Scenario, constant, named
from drivers.simulated.source import SimulatedEngine
from monitor.firing.records import Outcome as Became
from monitor.flags import Kind, Severity
from tests.monitor.engines import ORDERS, Outcome, analyse

CALLS = ("control1", "control2", "control3", "control4")
WITH = pytest.mark.parametrize("measure", ["supply", "current"])


def run(*faults: Fault, measure: str, scenario: Scenario | None = None, duration_s: float = 6.0) -> Outcome:
    engine = SimulatedEngine(
        EngineModel(4, ORDERS[4], repeated_sparks=2),
        scenario or constant(1800.0),
        faults,
        inputs=(*CALLS, measure),
        sample_rate_hz=20_000.0,
        duration_s=duration_s,
    )
    return analyse(engine)


@WITH
@pytest.mark.parametrize("cylinder", [1, 2, 3, 4])
def test_a_called_coil_that_does_not_charge_is_told_while_it_does_not(cylinder: int, measure: str) -> None:
    found = run(Fault("no-answer", cylinder, 1.0, 2.0, 3.0, value="coil"), measure=measure)
    (flag,) = found.flags
    assert (flag.kind, flag.severity, flag.cylinder) == (Kind.MISSING_ACKNOWLEDGEMENT, Severity.WARNING, cylinder)
    assert flag.start_s == pytest.approx(2.0, abs=0.07)
    assert flag.end_s == pytest.approx(3.0, abs=0.07)
    assert flag.count == pytest.approx(15, abs=1)  # 1800 rpm: 15 turns a second
    assert "shows no charge" in flag.detail


@WITH
def test_outcomes_do_not_hang_on_it(measure: str) -> None:
    found = run(Fault("no-answer", 3, value="coil"), measure=measure)
    assert {firing.outcome for firing in found.firings} == {Became.ACKNOWLEDGED}
    assert found.analyzer.standing.counts(3).acknowledged is None


@WITH
def test_a_healthy_start_and_drive_show_every_charge(measure: str) -> None:
    found = run(measure=measure, scenario=named("cold-start-drive"), duration_s=60.0)
    assert [flag for flag in found.flags if flag.severity is not Severity.INFO] == []


def test_a_feed_too_stiff_to_show_a_charge_accuses_nobody() -> None:
    engine = SimulatedEngine(
        EngineModel(4, ORDERS[4], feed_resistance_ohm=0.01),
        constant(1800.0),
        (Fault("no-answer", 3, value="coil"),),
        inputs=(*CALLS, "supply"),
        sample_rate_hz=20_000.0,
        duration_s=3.0,
    )
    assert analyse(engine).flags == ()
