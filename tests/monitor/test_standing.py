from collections.abc import Sequence

import pytest

from drivers.simulated.faults import Fault
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.firing.records import Outcome
from monitor.setup import parse_setup
from monitor.snapshot import CylinderView
from tests.monitor.engines import analyse


def views(lost: Sequence[tuple[float, float]], duration_s: float, cuts: Sequence[int] = ()) -> tuple[CylinderView, ...]:
    faults = [Fault("lost-samples", start_s=start_s, end_s=end_s) for start_s, end_s in lost]
    engine = SimulatedEngine(faults=faults, sample_rate_hz=20_000, duration_s=duration_s)
    return analyse(engine, cuts).analyzer.snapshot().cylinders


def test_before_any_sample_the_engine_is_not_known_to_stand() -> None:
    nothing = SimulatedEngine(duration_s=1.0)
    info = nothing.open()
    assert Analyzer(parse_setup(info.setup_toml or "", "simulated"), info).snapshot().state == "unknown"


@pytest.mark.parametrize("end_s", [2.6, 3.0, 8.0])
def test_turns_before_and_after_a_gap_never_stand_side_by_side_as_if_nothing_lay_between(end_s: float) -> None:
    for view in views([(2.5, end_s)], end_s + 2.0):
        unseen = [place for place, outcome in enumerate(view.recent) if outcome is Outcome.UNOBSERVED]
        assert len(unseen) == 1 or (end_s == 2.6 and not unseen)
        assert all(14 <= place <= 18 for place in unseen)
        assert view.counts.unobserved <= (end_s == 2.6)


def test_each_of_two_gaps_is_shown_and_a_gap_in_which_no_turn_fell_is_not() -> None:
    for view in views([(2.0, 2.4), (3.5, 3.501), (4.0, 6.0)], 8.0):
        assert view.recent.count(Outcome.UNOBSERVED) - view.counts.unobserved == 2


def test_it_is_the_same_wherever_the_blocks_are_cut() -> None:
    lost = [(2.0, 2.4), (4.0, 6.0)]
    assert views(lost, 8.0, range(500, 160_000, 1237)) == views(lost, 8.0)
