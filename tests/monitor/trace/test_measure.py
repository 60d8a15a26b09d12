import pytest

from monitor.firing.records import Firing, Outcome
from monitor.firing.rota import Rota
from monitor.setup import Engine, Role
from monitor.trace.measure import speed_between
from monitor.trace.volts import drawn_range
from tests.monitor.trace.streams import engine

SIX = Rota.of(Engine(cylinders=6, firing_order=(1, 4, 2, 5, 3, 6)))


def test_the_speed_between_cursors_is_that_of_the_engine() -> None:
    """Against the scenario: 800 rpm; a four-stroke six fires every 120 degrees, 25 ms apart at 800 rpm."""
    store, _ = engine()
    speed = speed_between(store.firings(store.index(1.0), store.index(2.0)), SIX)
    assert speed is not None
    assert speed.rpm == pytest.approx(800.0, rel=0.002)
    assert speed.turns == 39


def test_with_uneven_firing_the_angles_of_the_engine_count() -> None:
    """Against arithmetic: 0 to 90 degrees in 15 ms are 1000 rpm, and so are 90 to 720 in 105 ms."""
    rota = Rota.of(Engine(cylinders=2, firing_order=(1, 2), firing_angles_deg=(0.0, 90.0)))
    first, second, third = (Firing(n, n % 2 + 1, at, Outcome.ACKNOWLEDGED) for n, at in enumerate((0.0, 0.015, 0.12)))
    for pair in ((first, second), (second, third)):
        speed = speed_between(pair, rota)
        assert speed is not None
        assert speed.rpm == pytest.approx(1000.0)


def test_where_turns_are_not_known_there_is_no_speed() -> None:
    first, again = (Firing(7, 1, at, Outcome.ACKNOWLEDGED) for at in (0.0, 0.02))
    earlier = Firing(3, 1, 0.04, Outcome.ACKNOWLEDGED)
    assert speed_between([], SIX) is None
    assert speed_between([first], SIX) is None
    assert speed_between([first, again], SIX) is None
    assert speed_between([first, earlier], SIX) is None


@pytest.mark.parametrize(
    ("role", "seen", "drawn"),
    [
        (Role.ACKNOWLEDGEMENT, (0.2, 5.0), (0.0, 5.5)),
        (Role.ACKNOWLEDGEMENT, (4.9, 5.0), (0.0, 5.5)),
        (Role.CONTROL, (-0.05, 4.9), (0.0, 5.5)),
        (Role.CONTROL, (0.0, 12.3), (0.0, 13.0)),
        (Role.SUPPLY, (13.1, 14.2), (13.0, 15.0)),
        (Role.SUPPLY, (13.4, 13.5), (13.0, 15.0)),
        (Role.GROUND, (0.0, 0.3), (-0.5, 1.0)),
    ],
)
def test_logic_levels_have_a_fixed_scale_and_others_whole_volts_around_them(
    role: Role, seen: tuple[float, float], drawn: tuple[float, float]
) -> None:
    assert drawn_range(role, *seen) == drawn
