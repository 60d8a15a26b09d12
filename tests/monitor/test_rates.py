import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, fisher_exact

from monitor.rates import Missed, bound_without_miss, bounds, chance_of_as_many, drive_to_clear

COUNTS = st.integers(1, 100_000).flatmap(lambda turns: st.builds(Missed, st.integers(0, turns), st.just(turns)))


@given(COUNTS)
def test_at_each_bound_the_count_or_a_more_extreme_one_has_the_chance_that_is_left(missed: Missed) -> None:
    """Clopper and Pearson's definition, by scipy's binomial distribution."""
    low, high = bounds(missed)
    assert 0.0 <= low <= missed.rate <= high <= 1.0
    if missed.misses:
        assert binom.sf(missed.misses - 1, missed.turns, low) == pytest.approx(0.025, rel=1e-6)
    if missed.misses < missed.turns:
        assert binom.cdf(missed.misses, missed.turns, high) == pytest.approx(0.025, rel=1e-6)


@given(COUNTS)
def test_misses_and_answers_are_two_sides_of_one_count(missed: Missed) -> None:
    low, high = bounds(missed)
    other = bounds(Missed(missed.turns - missed.misses, missed.turns))
    assert (1.0 - high, 1.0 - low) == pytest.approx(other, abs=1e-12)


def test_nothing_observed_leaves_every_rate_open() -> None:
    assert bounds(Missed(0, 0)) == (0.0, 1.0)
    assert bound_without_miss(0) == 1.0


@pytest.mark.parametrize("missed", [Missed(-1, 5), Missed(6, 5)])
def test_a_count_that_cannot_be_is_refused(missed: Missed) -> None:
    with pytest.raises(ValueError, match="from none to all"):
        bounds(missed)


@given(st.floats(1e-6, 1.0))
def test_the_drive_is_just_long_enough_to_be_below_the_rate_seen(rate: float) -> None:
    drive = drive_to_clear(rate, 2.0, 1500.0)
    assert drive is not None
    assert bound_without_miss(drive.turns) <= rate * (1 + 1e-9)
    assert drive.turns == 1 or bound_without_miss(drive.turns - 1) >= rate * (1 - 1e-9)
    assert drive.revolutions == 2 * drive.turns
    assert drive.minutes == drive.revolutions / 1500.0


def test_without_a_miss_before_no_drive_shows_anything_and_without_a_speed_no_time_is_said() -> None:
    assert drive_to_clear(0.0, 2.0, 800.0) is None
    drive = drive_to_clear(0.01, 2.0, None)
    assert drive is not None
    assert drive.turns == math.ceil(math.log(0.05) / math.log(0.99)) == 299
    assert drive.minutes is None


@given(st.integers(0, 300), st.integers(0, 3000), st.integers(0, 300), st.integers(0, 3000))
def test_the_chance_of_so_many_in_one_place_is_fishers(here: int, more_here: int, there: int, more_there: int) -> None:
    """scipy.stats.fisher_exact, alternative "greater"."""
    expected = fisher_exact([[here, there], [more_here, more_there]], alternative="greater").pvalue
    whole = Missed(here + there, here + there + more_here + more_there)
    assert chance_of_as_many(Missed(here, here + more_here), whole) == pytest.approx(expected, rel=1e-6, abs=1e-300)
