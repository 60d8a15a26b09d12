from collections.abc import Sequence

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.firing.records import Firing, Outcome
from monitor.rates import Missed
from monitor.tally import CylinderTally, Spread
from monitor.windows import Window

STATES = st.lists(st.sampled_from([False, False, True, None]), max_size=60)
MISSED = (Outcome.UNACKNOWLEDGED, Outcome.UNCOMMANDED)


def entered(
    outcomes: Sequence[Outcome], period_rev: float = 2.0, rpm: float | None = None, feed_v: float | None = None
) -> CylinderTally:
    tally = CylinderTally(period_rev)
    for turn, outcome in enumerate(outcomes):
        tally.take(Firing(turn, 1, turn * 0.1, outcome, speed_rpm=rpm, supply_before_v=feed_v))
    return tally


@given(STATES, st.integers(1, 20))
def test_a_window_counts_what_its_latest_turns_hold(states: list[bool | None], turns: int) -> None:
    window = Window(turns)
    for state in states:
        window.take(state)
    latest = states[-turns:]
    assert window.missed == Missed(latest.count(True), len(latest) - latest.count(None))


@given(st.lists(st.sampled_from(Outcome), max_size=80))
def test_counts_agree_however_they_are_asked_for(outcomes: list[Outcome]) -> None:
    tally = entered(outcomes, rpm=800.0, feed_v=13.8)
    misses = sum(outcome in MISSED for outcome in outcomes)
    observed = len(outcomes) - outcomes.count(Outcome.UNOBSERVED)
    counts = tally.counts(is_called=True, is_answering=True)
    assert tally.missed == counts.missed == tally.last_200.missed == tally.last_1000.missed == (misses, observed)
    assert sum(tally.by_speed.turns) == sum(tally.by_supply.turns) == observed
    assert sum(tally.by_speed.misses) == sum(tally.by_supply.misses) == misses
    seen = [outcome in MISSED for outcome in outcomes if outcome is not Outcome.UNOBSERVED]
    assert sum(tally.by_speed.starts) == sum(b and not a for a, b in zip([False, *seen], seen, strict=False))


def test_a_cylinder_of_a_four_stroke_has_half_as_many_turns_in_a_window_as_one_with_waste_spark() -> None:
    outcomes = [Outcome.UNACKNOWLEDGED] * 5 + [Outcome.ACKNOWLEDGED] * 1200
    for period_rev, turns in ((2.0, 100), (1.0, 200)):
        tally = entered(outcomes, period_rev)
        assert tally.last_200.missed == (0, turns)
        assert tally.last_1000.missed == (0, 5 * turns)
        assert tally.missed == (5, 1205)


def test_a_turn_of_unknown_speed_and_feed_is_in_no_band() -> None:
    tally = entered([Outcome.ACKNOWLEDGED, Outcome.UNACKNOWLEDGED])
    assert sum(tally.by_speed.turns) == sum(tally.by_supply.turns) == 0
    assert tally.missed == (1, 2)


@given(st.lists(st.integers(0, 4000), min_size=1, max_size=60), st.floats(0.0, 1.0))
def test_quantiles_agree_with_numpys(values: list[int], part: float) -> None:
    """numpy.quantile, method "inverted_cdf"."""
    spread = Spread(0.5, 2000.0)
    for value in values:
        spread.add(value / 2)
    assert spread.quantile(part) == np.quantile(np.array(values) / 2, part, method="inverted_cdf")


def test_values_beyond_what_is_told_apart_count_at_the_ends() -> None:
    spread = Spread(0.1, 2.0)
    assert spread.quantile(0.5) is None
    for value in (-5.0, 1.0, 99.0):
        spread.add(value)
    assert [spread.quantile(part) for part in (0.0, 0.5, 1.0)] == [0.0, 1.0, 2.0]
