"""Answer delay and width over the feed's voltage, measured by the analysis, against the RL charging formula.

t(I) = -(L/R) ln(1 - I R / V) with 0.5 ohm and 3.75 mH (a driver data sheet's test coil), answering from 2 A to 4 A.
"""

from statistics import median

import pytest

from drivers.simulated.model import Acknowledgement, Advance, Dwell, EngineModel
from drivers.simulated.scenario import Knot, Scenario
from drivers.simulated.source import SimulatedEngine
from monitor.firing.records import Firing
from monitor.firing.records import Outcome as Became
from monitor.setup import parse_setup
from tests.monitor.engines import ORDERS, all_leads, analyse


def firings_at(feed_v: float, rate_hz: float, model: EngineModel, limits: str = "") -> list[Firing]:
    """Firings of an engine at a steady speed and feed; the first and the last may be cut by the recording's edge."""
    scenario = Scenario((Knot(0.0, 900.0),), wander=0.0, battery_v=((0.0, feed_v),))
    source = SimulatedEngine(model, scenario, inputs=all_leads(model.cylinders), sample_rate_hz=rate_hz, duration_s=1.5)
    setup = parse_setup((source.open().setup_toml or "") + limits, "simulated")
    return list(analyse(source, setup=setup).firings[1:-1])


def engine(acknowledgement: Acknowledgement, dwell: Dwell | None = None) -> EngineModel:
    """An engine whose coils are fed without any loss, so that the formula holds."""
    return EngineModel(
        4,
        ORDERS[4],
        feed_resistance_ohm=0.0,
        acknowledgement=acknowledgement,
        advance=Advance(jitter_deg=0.0),
        dwell=dwell or Dwell(),
    )


@pytest.mark.parametrize("rate_hz", [20_000.0, 50_000.0, 200_000.0, 1_000_000.0])
@pytest.mark.parametrize(
    ("feed_v", "begin_ms", "end_ms"), [(14.0, 0.556, 1.156), (12.0, 0.653, 1.367), (8.0, 1.002, 2.158)]
)
def test_delay_and_width_follow_the_feed_within_one_sample(
    feed_v: float, begin_ms: float, end_ms: float, rate_hz: float
) -> None:
    found = firings_at(feed_v, rate_hz, engine(Acknowledgement()))
    sample_ms = 1e3 / rate_hz + 0.0005  # the table has three digits
    line_ms = 0.003  # the line's rise after the coil lets go: 3 nF at 1 kohm
    assert len(found) > 30
    for firing in found:
        assert firing.acknowledgement_delay_ms == pytest.approx(begin_ms, abs=sample_ms)
        assert firing.acknowledgement_width_ms == pytest.approx(end_ms - begin_ms, abs=sample_ms + line_ms)
    delay_ms = median(firing.acknowledgement_delay_ms or 0.0 for firing in found)
    assert delay_ms == pytest.approx(begin_ms, abs=0.25 * sample_ms + line_ms)


@pytest.mark.parametrize("timing", ["at-spark", "during-charge"])
@pytest.mark.parametrize(("dwell_ms", "outcome"), [(2.4, Became.UNACKNOWLEDGED), (2.5, Became.ACKNOWLEDGED)])
def test_a_level_that_is_just_not_reached_brings_no_answer(dwell_ms: float, outcome: Became, timing: str) -> None:
    """4.5 A at 8 V: 2.4 ms of dwell give no answer, 2.5 ms do. During the charge that one lasts 23 us only."""
    acknowledgement = Acknowledgement(timing, low_a=4.5, high_a=6.0)
    model = engine(acknowledgement, Dwell(target_a=100.0, longest_s=dwell_ms * 1e-3))
    limits = f'[limits]\nglitch_us = 5\nacknowledgement_timing = "{timing}"\n'
    found = firings_at(8.0, 1_000_000.0, model, limits)
    assert {firing.outcome for firing in found} == {outcome}
    assert median(firing.dwell_ms or 0.0 for firing in found) == pytest.approx(dwell_ms, abs=0.002)
