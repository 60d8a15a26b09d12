"""With every kind of lead connected: one recording, one ledger and one set of findings, however it comes in blocks."""

from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.simulated.faults import Fault
from drivers.simulated.scenario import Knot, Scenario
from drivers.simulated.source import SimulatedEngine
from tests.monitor.engines import Outcome, all_leads, analyse

FAULTY = (
    Fault("no-answer", 4, 0.1),
    Fault("no-call", 2, 0.05),
    Fault("weak-pull-down", 3, 0.3),
    Fault("stray-answer", probability=0.02),
    Fault("feed-resistance", start_s=1.0, end_s=1.4),
    Fault("ground-resistance", 1, start_s=1.2),
    Fault("feed-dropout", start_s=0.8, end_s=0.804),
    Fault("lost-samples", start_s=1.5, end_s=1.53),
    Fault("dwell", 5, 0.1),
)


def analysed(cuts: tuple[int, ...] = ()) -> Outcome:
    inputs = (*all_leads(6), "battery", "ground", "current", "injector4", "marker")
    scenario = Scenario((Knot(0.0, 2500.0),), marks_s=(0.6, 1.7))
    engine = SimulatedEngine(
        None, scenario, FAULTY, inputs=inputs, sample_rate_hz=20_000.0, duration_s=2.0, input_range_v=20.0
    )
    return analyse(engine, cuts)


whole = cache(analysed)


@settings(max_examples=12)
@given(st.lists(st.integers(1, 40_000), max_size=30))
def test_all_leads_give_the_same_ledger_and_findings_wherever_the_blocks_are_cut(cuts: list[int]) -> None:
    pieces = analysed(tuple(cuts))
    assert pieces.firings == whole().firings
    assert pieces.flags == whole().flags
    assert pieces.presses == whole().presses
    assert len(pieces.presses) == 2
    assert len(pieces.kinds()) > 6
    assert pieces.analyzer.standing.findings() == whole().analyzer.standing.findings()
