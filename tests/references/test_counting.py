"""Windows, shares and confidence held to what stands outside the project.

- 13 CCR 1968.2 (e)(3): misfire over 200 and over 1000 revolutions; (e)(3.1.3): one cylinder or several, by 90 %.
- A four-stroke cylinder fires once in two revolutions, so N cylinders fire N / 2 times in each.
- Rule of three: J. A. Hanley and A. Lippman-Hand, JAMA 249 (1983), 1743-1745.
- Clopper and Pearson, Biometrika 26 (1934), 404-413, as scipy.stats.binomtest computes it.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from drivers.simulated.model import EngineModel
from drivers.simulated.source import SimulatedEngine
from monitor.firing.records import Firing, Outcome
from monitor.firing.rota import Rota
from monitor.hookup import Hookup
from monitor.naming import named_alone
from monitor.rates import Missed, bound_without_miss, bounds, drive_to_clear
from monitor.setup import parse_setup
from monitor.standing import Standing

COUNTS = st.integers(1, 20_000).flatmap(lambda turns: st.builds(Missed, st.integers(0, turns), st.just(turns)))
MISSED, ANSWERED = Outcome.UNACKNOWLEDGED, Outcome.ACKNOWLEDGED


def called(cylinders: int, turns: int, outcomes: dict[int, list[Outcome]] | None = None) -> Standing:
    """A roll of so many turns of a four-stroke; `outcomes` by cylinder for its first turns, answered after."""
    info = SimulatedEngine(EngineModel(cylinders)).open()
    setup = parse_setup(info.setup_toml or "", "counting")
    order = setup.engine.firing_order
    standing = Standing(Hookup.of(setup, info), Rota.of(setup.engine), 1e6)
    for turn in range(turns):
        cycle, place = divmod(turn, cylinders)
        theirs = (outcomes or {}).get(order[place], [])
        standing.take(Firing(turn, order[place], turn * 0.01, theirs[cycle] if cycle < len(theirs) else ANSWERED))
    return standing


def totals(standing: Standing, revolutions: int) -> Missed:
    views = standing.snapshot(None, None, 0).cylinders
    parts = [view.last_200 if revolutions == 200 else view.last_1000 for view in views]
    return Missed(sum(part.misses for part in parts), sum(part.turns for part in parts))


@pytest.mark.parametrize(("cylinders", "in_200", "in_1000"), [(4, 400, 2000), (6, 600, 3000), (8, 800, 4000)])
def test_two_hundred_and_a_thousand_revolutions_hold_so_many_opportunities(
    cylinders: int, in_200: int, in_1000: int
) -> None:
    standing = called(cylinders, in_1000 + 7 * cylinders)
    assert totals(standing, 200) == (0, in_200)
    assert totals(standing, 1000) == (0, in_1000)


@pytest.mark.parametrize(
    ("cylinders", "percent"), [(3, 33.333), (4, 25.0), (5, 20.0), (6, 16.667), (8, 12.5), (10, 10.0), (12, 8.333)]
)
@pytest.mark.parametrize("revolutions", [200, 1000])
def test_one_dead_cylinder_is_this_share_of_all_firings(cylinders: int, percent: float, revolutions: int) -> None:
    dead = [MISSED] * 600
    missed = totals(called(cylinders, 600 * cylinders, {2: dead}), revolutions)
    assert missed.turns == revolutions * cylinders / 2
    assert 100 * missed.rate == pytest.approx(percent, abs=0.0005)


def test_46_misses_in_200_revolutions_of_a_four_are_eleven_and_a_half_per_cent() -> None:
    missed = totals(called(4, 400, {3: [MISSED] * 40, 1: [MISSED] * 6}), 200)
    assert missed == (46, 400)
    assert 100 * missed.rate == 11.5


def test_32_ignitions_of_a_six_are_ten_and_two_thirds_revolutions() -> None:
    """A published trouble-code description says 10.7 revolutions."""
    assert called(6, 32).revolutions == pytest.approx(10.667, abs=0.0005)


@given(st.integers(3, 10**7))
def test_the_exact_bound_without_a_miss_is_just_below_the_rule_of_three(turns: int) -> None:
    exact = bound_without_miss(turns)
    assert exact == pytest.approx(1 - 0.05 ** (1 / turns), rel=1e-8, abs=1e-15)
    assert exact < 3.0 / turns
    if turns >= 100:
        assert exact == pytest.approx(3.0 / turns, rel=0.02)


@given(st.integers(1, 10**6))
def test_the_bound_without_a_miss_is_the_one_sided_exact_one(turns: int) -> None:
    exact = binomtest(0, turns, alternative="less").proportion_ci(0.95, method="exact")
    assert bound_without_miss(turns) == pytest.approx(exact.high, rel=1e-9)


def test_three_hundred_firings_without_a_miss_clear_one_per_cent() -> None:
    """Rule of three: 3 / 300 = 1 %; exactly, 299 do."""
    drive = drive_to_clear(0.01, 2.0, 800.0)
    assert drive is not None
    assert (drive.turns, drive.revolutions) == (299, 598)


@given(COUNTS)
def test_bounds_are_those_of_clopper_and_pearson(missed: Missed) -> None:
    exact = binomtest(*missed).proportion_ci(0.95, method="exact")
    assert bounds(missed) == pytest.approx((exact.low, exact.high), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("misses", "alone"),
    [
        ({1: 91, 2: 9}, 1),
        ({1: 9, 2: 91}, 2),
        ({1: 89, 2: 11}, None),
        ({1: 50, 2: 50}, None),
        ({1: 1, 2: 0}, 1),
        ({1: 0, 2: 0}, None),
        # The rule covers neither of these; both are several.
        ({1: 90, 2: 10}, None),
        ({1: 85, 2: 5, 3: 5, 4: 5}, None),
    ],
)
def test_more_than_ninety_per_cent_name_one_cylinder(misses: dict[int, int], alone: int | None) -> None:
    assert named_alone(misses) == alone


@given(st.dictionaries(st.integers(1, 12), st.integers(0, 10**6), min_size=1))
def test_one_and_several_never_both_hold(misses: dict[int, int]) -> None:
    alone, total = named_alone(misses), sum(misses.values())
    above_ten_per_cent = [cylinder for cylinder, count in misses.items() if 10 * count > total]
    if len(above_ten_per_cent) >= 2:
        assert alone is None
    if alone is not None:
        assert misses[alone] / total > 0.9
