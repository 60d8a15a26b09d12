import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.bands import SPEED_RPM, SUPPLY_V, Bands, concentration, together


def filled(**counts: tuple[int, int]) -> Bands:
    """Bands of speed with (single misses, turns) in the band of each `rpm…`."""
    bands = Bands(SPEED_RPM)
    for name, (misses, turns) in counts.items():
        for n in range(turns):
            bands.take(float(name.removeprefix("rpm")), n < misses, n < misses)
    return bands


def test_a_turn_on_an_edge_belongs_to_the_band_above_it() -> None:
    bands = Bands(SUPPLY_V)
    for volts in (8.99, 9.0, 9.99, 10.0, 14.99, 15.0, 40.0, -3.0):
        bands.take(volts, is_miss=False, is_start=False)
    assert bands.turns == [2, 2, 1, 0, 0, 0, 1, 2]


def test_a_fault_above_a_speed_is_told_with_its_counts() -> None:
    bands = filled(rpm800=(0, 3000), rpm2500=(0, 2300), rpm3500=(9, 800), rpm4500=(5, 410))
    assert concentration(bands, "rpm") == "only above 3000 rpm: 14 of 1,210 turns there, 0 of 5,300 below 3000 rpm"


def test_a_speed_that_was_not_driven_is_not_spoken_of() -> None:
    bands = filled(rpm800=(0, 3000), rpm4500=(14, 410))
    assert concentration(bands, "rpm") == "only above 4000 rpm: 14 of 410 turns there, 0 of 3,000 below 1000 rpm"


def test_a_fault_between_two_speeds_is_told_with_both() -> None:
    bands = filled(rpm1500=(1, 3000), rpm2500=(12, 300), rpm3500=(0, 2000))
    assert concentration(bands, "rpm") == (
        "more often from 2000 to 3000 rpm: 12 of 300 turns there, 1 of 5,000 below 2000 and above 3000 rpm"
    )


def test_a_fault_at_low_voltage_is_told_as_below() -> None:
    bands = Bands(SUPPLY_V)
    for n in range(2000):
        bands.take(10.5 if n % 10 == 0 else 13.8, n % 50 == 0, n % 50 == 0)
    assert concentration(bands, "V") == "only below 11 V: 40 of 200 turns there, 0 of 1,800 above 13 V"


def test_one_long_run_of_misses_is_one_event_and_proves_nothing_of_the_speed() -> None:
    bands = filled(rpm800=(0, 3000))
    for n in range(1000):
        bands.take(3500.0, is_miss=n >= 400, is_start=n == 400)
    assert concentration(bands, "rpm") is None


def test_more_runs_but_fewer_misses_are_not_told_as_more() -> None:
    bands = filled(rpm3500=(14, 1000))
    for n in range(5000):
        bands.take(800.0, is_miss=True, is_start=n == 0)
    assert concentration(bands, "rpm") is None


@pytest.mark.parametrize("bands", [Bands(SPEED_RPM), filled(rpm800=(0, 100)), filled(rpm800=(5, 100))])
def test_without_turns_or_misses_or_a_second_speed_nothing_is_said(bands: Bands) -> None:
    assert concentration(bands, "rpm") is None


def test_more_questions_need_a_stronger_answer() -> None:
    bands = filled(rpm800=(0, 900), rpm3500=(4, 100))
    assert concentration(bands, "rpm", questions=1) is not None
    assert concentration(bands, "rpm", questions=100) is None


def test_misses_spread_by_chance_are_hardly_ever_called_a_concentration() -> None:
    draw = np.random.default_rng(20260)
    told = 0
    for _ in range(400):
        bands = Bands(SPEED_RPM)
        bands.turns = [int(n) for n in draw.integers(0, 4000, len(bands.turns))]
        bands.misses = [int(draw.binomial(turns, 0.005)) for turns in bands.turns]
        bands.starts = list(bands.misses)
        told += concentration(bands, "rpm") is not None
    # Expected at most 400 · 1 %; more than 12 would come up once in 3000 times at that.
    assert told <= 12


PARTS = st.lists(st.lists(st.tuples(st.floats(0, 9000), st.booleans()), max_size=20), min_size=1, max_size=4)


@given(PARTS)
def test_parts_together_are_as_if_counted_in_one(parts: list[list[tuple[float, bool]]]) -> None:
    whole = Bands(SPEED_RPM)
    counted = []
    for part in parts:
        counted.append(Bands(SPEED_RPM))
        for rpm, is_miss in part:
            counted[-1].take(rpm, is_miss, is_miss)
            whole.take(rpm, is_miss, is_miss)
    assert vars(together(counted)) == vars(whole)
