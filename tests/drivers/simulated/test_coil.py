import numpy as np
import pytest
from scipy.integrate import solve_ivp

from drivers.simulated.coil import Coil, Floats, Network
from drivers.simulated.model import Dwell

from .bench import plain, run, steady

COIL = Coil()


@pytest.mark.parametrize(("supply_v", "expected_ms"), [(14.0, 1.9811), (12.0, 2.3689), (8.0, 3.9097), (6.0, 5.8512)])
def test_charge_times_match_the_closed_form_table(supply_v: float, expected_ms: float) -> None:
    # t(I) = -L/R ln(1 - I R/V) worked out by hand, for the test coil of a driver data sheet: 0.5 ohm, 3.75 mH
    assert COIL.charge_time_s(6.5, np.array([supply_v]))[0] * 1e3 == pytest.approx(expected_ms, abs=5e-5)


def test_a_current_beyond_reach_takes_for_ever() -> None:
    assert np.isinf(COIL.charge_time_s(6.5, np.array([3.0]))[0])


def test_the_textbook_coil_stores_27_millijoules() -> None:
    # Textbook example: 4 ohm, 6 mH, 12 V give 3 A and 27 mJ
    final_a = Network((4.0,), 0.0, 6e-3).charge((0.0,), 12.0).current_a(0, 1.0)
    assert final_a == pytest.approx(3.0)
    assert 0.5 * 6e-3 * final_a**2 == pytest.approx(27e-3)


@pytest.mark.parametrize(
    ("supply_v", "begin_ms", "end_ms"), [(14.0, 0.556, 1.156), (12.0, 0.653, 1.367), (8.0, 1.002, 2.158)]
)
def test_answers_come_later_and_last_longer_as_the_feed_falls(supply_v: float, begin_ms: float, end_ms: float) -> None:
    # The same formula at 2 and at 4 A
    firings = run(plain(), steady(supply_v)).engine.truth()[1:-1]
    for firing in firings:
        assert firing.answer_start_s is not None
        assert firing.answer_end_s is not None
        assert (firing.answer_start_s - firing.rise_s) * 1e3 == pytest.approx(begin_ms, abs=6e-4)
        assert (firing.answer_end_s - firing.rise_s) * 1e3 == pytest.approx(end_ms, abs=6e-4)


@pytest.mark.parametrize(("dwell_s", "answers"), [(2.4e-3, False), (2.5e-3, True)])
def test_a_level_that_is_not_reached_gives_no_answer(dwell_s: float, answers: bool) -> None:
    # The same formula: 4.5 A are reached at 8 V after more than 2.4 and less than 2.5 ms
    network = Network((COIL.resistance_ohm,), 0.0, COIL.inductance_h)
    target_a = network.charge((0.0,), 8.0).current_a(0, dwell_s)
    model = plain(low_a=4.5, high_a=6.0, dwell=Dwell(target_a=target_a))
    firing = run(model, steady(8.0)).engine.truth()[2]
    assert firing.dwell_s == pytest.approx(dwell_s)
    assert firing.answered is answers
    assert firing.expected == ("acknowledged" if answers else "unacknowledged")


@pytest.mark.parametrize(
    ("ohms", "shared_ohm", "start_a"),
    [
        ((0.5,), 0.08, (0.0,)),
        ((0.5, 0.5), 0.3, (3.0, 0.0)),
        ((0.5, 0.9, 0.5), 0.1, (5.0, 2.0, 0.0)),
        ((0.6, 0.5, 0.5, 0.7), 0.4, (6.0, 4.0, 2.0, 0.0)),
    ],
)
def test_overlapping_charges_agree_with_a_numerical_integration(
    ohms: tuple[float, ...], shared_ohm: float, start_a: tuple[float, ...]
) -> None:
    inductance_h, supply_v = 3.75e-3, 13.0

    def slope(_: float, current_a: Floats) -> Floats:
        return np.asarray((supply_v - np.array(ohms) * current_a - shared_ohm * current_a.sum()) / inductance_h)

    times_s = np.linspace(0.0, 4e-3, 41)
    solved = solve_ivp(slope, (0.0, 4e-3), start_a, t_eval=times_s, rtol=1e-10, atol=1e-12)
    charging = Network(ohms, shared_ohm, inductance_h).charge(start_a, supply_v)
    for k in range(len(ohms)):
        np.testing.assert_allclose(charging.currents_a(k, times_s), solved.y[k], rtol=1e-7, atol=1e-9)
        assert charging.current_a(k, 2e-3) == pytest.approx(float(solved.y[k][20]), rel=1e-6)
    np.testing.assert_allclose(charging.currents_a(None, times_s), solved.y.sum(axis=0), rtol=1e-7, atol=1e-9)


def test_a_crossing_is_found_among_overlapping_charges() -> None:
    charging = Network((0.5, 0.5), 0.2, 3.75e-3).charge((4.0, 0.0), 13.0)
    crossing_s = charging.reaches_s(1, 2.0, 3e-3)
    assert charging.current_a(1, crossing_s) == pytest.approx(2.0, abs=1e-5)
