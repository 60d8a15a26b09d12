"""The order in which calls were seen, against the order that was said."""

import pytest

from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import constant
from drivers.simulated.source import SimulatedEngine
from monitor.proposal import Proposal, look_at, propose
from monitor.setup import Engine, Setup, parse_setup
from monitor.wizard.firing_check import cylinder_by_phase, doubts

ORDER = (1, 5, 3, 6, 2, 4)
UNEVEN = (0.0, 150.0, 240.0, 390.0, 480.0, 630.0)


def seen(*inputs: str, sparks: int = 1, angles: tuple[float, ...] | None = None) -> tuple[Proposal, Setup]:
    model = EngineModel(6, ORDER, sparks_per_cycle=sparks, firing_angles_deg=angles)
    look = look_at(SimulatedEngine(model, constant(900.0), inputs=inputs, sample_rate_hz=20_000.0, duration_s=3.0))
    return propose(look), parse_setup(look.info.setup_toml or "", "simulated")


CONTROLS = tuple(f"control{n}" for n in range(1, 7))


@pytest.mark.parametrize("angles", [None, UNEVEN])
@pytest.mark.parametrize("known", [1, 4])
def test_one_control_that_is_known_tells_whose_the_others_are(known: int, angles: tuple[float, ...] | None) -> None:
    found, setup = seen(*CONTROLS, angles=angles)
    told = [cylinder_by_phase(found.firing, setup.engine, {f"in{known}": known}, f"in{n}") for n in range(1, 7)]
    assert told == [1, 2, 3, 4, 5, 6]


def test_with_waste_spark_a_coil_is_told_by_the_first_of_its_cylinders_in_the_order() -> None:
    found, setup = seen("control1", "control5", "control3", sparks=2)
    assert [cylinder_by_phase(found.firing, setup.engine, {"in1": 1}, one) for one in ("in2", "in3")] == [5, 3]


def test_without_a_control_that_is_known_nothing_is_told() -> None:
    found, setup = seen(*CONTROLS)
    assert cylinder_by_phase(found.firing, setup.engine, {}, "in2") is None
    assert cylinder_by_phase((), setup.engine, {"in1": 1}, "in2") is None


@pytest.mark.parametrize("sparks", [1, 2])
def test_what_is_so_is_not_doubted(sparks: int) -> None:
    inputs = (*(CONTROLS if sparks == 1 else ("control1", "control5", "control3")), "acknowledgement")
    found, setup = seen(*inputs, sparks=sparks)
    assert doubts(found, setup.engine, setup.channel) == ()


def test_another_order_than_was_seen_is_doubted() -> None:
    found, setup = seen(*CONTROLS)
    (doubt,) = doubts(found, Engine(cylinders=6, firing_order=(1, 4, 2, 5, 3, 6)), setup.channel)
    assert "1-5-3-6-2-4" in doubt
    assert "1-4-2-5-3-6" in doubt


def test_another_number_of_coils_than_answer_is_doubted() -> None:
    found, setup = seen("control1", "acknowledgement")
    engine = Engine(cylinders=6, firing_order=ORDER, sparks_per_cycle=2)
    (doubt,) = doubts(found, engine, setup.channel)
    assert "6 answers" in doubt
    assert "3 coils" in doubt


def test_two_controls_come_in_turn_whatever_the_order() -> None:
    found, setup = seen("control1", "control2")
    assert doubts(found, Engine(cylinders=6, firing_order=(1, 2, 3, 4, 5, 6)), setup.channel) == ()
