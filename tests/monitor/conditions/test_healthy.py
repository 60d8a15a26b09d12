"""A healthy engine, whatever it does in two minutes and whatever is connected: nothing above information."""

import pytest

from drivers.simulated.faults import Fault
from drivers.simulated.model import Acknowledgement, Advance, EngineModel
from drivers.simulated.scenario import named
from drivers.simulated.source import SimulatedEngine
from monitor.flags import Kind, Severity
from tests.monitor.engines import ORDERS, THREE_LEADS, all_leads, analyse, score

GLITCHES = Fault("glitch", probability=0.02)


def with_everything(cylinders: int) -> tuple[str, ...]:
    return (*all_leads(cylinders), "battery", "ground", "current", "injector1", f"injector{cylinders}")


@pytest.mark.parametrize(
    ("cylinders", "inputs", "timing", "duration_s"),
    [
        (4, THREE_LEADS, "at-spark", 125.0),
        (4, with_everything(4), "during-charge", 60.0),
        (6, THREE_LEADS, "during-charge", 60.0),
        (6, with_everything(6), "at-spark", 125.0),
        (12, THREE_LEADS, "during-charge", 40.0),
        (12, with_everything(12), "during-charge", 40.0),
    ],
    ids=["4 few", "4 all", "6 few", "6 all", "12 few", "12 all"],
)
def test_a_two_minute_drive_raises_nothing_above_information(
    cylinders: int, inputs: tuple[str, ...], timing: str, duration_s: float
) -> None:
    """Cold start, repeated sparks, snap, limiter, overrun, shifts, stop-start, key off; 10 degree steps, hum, glitches.

    At 125 s it is over; the shorter ones end behind the first or the second shift.
    """
    engine = SimulatedEngine(
        EngineModel(
            cylinders,
            ORDERS[cylinders],
            acknowledgement=Acknowledgement(timing),
            advance=Advance(step_deg=10.0),
            repeated_sparks=2,
        ),
        named("cold-start-drive"),
        (GLITCHES,),
        inputs=inputs,
        sample_rate_hz=20_000.0,
        duration_s=duration_s,
        hum_v=0.2,
    )
    found = analyse(engine)
    assert [flag for flag in found.flags if flag.severity is not Severity.INFO] == []
    assert not score(found.firings, engine.truth()).is_wrong
    assert found.kinds()[Kind.ALL_CUT.value] > 0
