from hypothesis import given
from hypothesis import strategies as st

from monitor.firing.rota import Rota
from monitor.setup import Engine

SIX = Rota.of(Engine(cylinders=6, firing_order=(1, 5, 3, 6, 2, 4)))
UNEVEN = Rota.of(
    Engine(cylinders=6, firing_order=(1, 4, 2, 5, 3, 6), firing_angles_deg=(0.0, 150.0, 240.0, 390.0, 480.0, 630.0))
)
WASTE = Rota.of(Engine(cylinders=4, firing_order=(1, 3, 4, 2), sparks_per_cycle=2))


def test_a_four_stroke_six_has_six_places_in_two_revolutions() -> None:
    assert (SIX.size, SIX.period_rev, SIX.turn_deg) == (6, 2.0, 120.0)
    assert SIX.is_even


def test_waste_spark_partners_share_a_place() -> None:
    """Partners are entries i and i + N/2 of the firing order: 1-3-4-2 gives 1 & 4, 3 & 2 (engine-control tables)."""
    assert WASTE.places == ((1, 4), (3, 2))
    assert WASTE.period_rev == 1.0


def test_uneven_angles_stand_where_they_are_stated() -> None:
    assert [UNEVEN.stand(turn) * UNEVEN.turn_deg for turn in range(7)] == [0, 150, 240, 390, 480, 630, 720]
    assert not UNEVEN.is_even


@given(st.integers(-1000, 1000), st.integers(1, 50))
def test_ways_add_up(turn: int, turns: int) -> None:
    for rota in (SIX, UNEVEN, WASTE):
        assert abs(rota.way(turn, turns) - sum(rota.way(turn + n, 1) for n in range(turns))) < 1e-9
        assert rota.way(turn, rota.size) == rota.size


@given(st.floats(100.0, 12_000.0))
def test_speed_and_turn_length_are_inverse(rpm: float) -> None:
    """Firing interval = 120000 / (rpm N) ms on a four-stroke."""
    ticks = SIX.turn_ticks(rpm, 1e6)
    assert abs(ticks / 1e6 * 1e3 - 120_000.0 / (rpm * 6)) < 1e-6
    assert abs(SIX.rpm(ticks, 1e6) - rpm) < 1e-6
