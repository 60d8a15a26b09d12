"""Handbook values with the key on and the engine off: from where on the check calls a wire wrong.

Feed within 0.5 V of the battery, key on (service literature). 12 V supply codes A to D, 6, 8, 9, 10.5 to 16 V (ISO
16750-2, table 1). A coil's driver input: low at 0.8 V or less, high at 4 V or more, hysteresis 0.4 V (one data sheet).
The line at rest: about 5 V (common practice, no source).
"""

import pytest

from monitor.check.limits import NOISE_V, SUPPLY_V
from monitor.check.verdict import Question, Verdict
from tests.monitor.check.wires import check, said_of, sound

CODE_D_V = (10.5, 16.0)
HYSTERESIS_V = 0.4


@pytest.mark.parametrize("battery_v", [12.0, 12.4, 12.8])
@pytest.mark.parametrize(("drop_v", "verdict"), [(0.0, "ok"), (0.45, "ok"), (0.55, "wrong"), (2.0, "wrong")])
def test_a_feed_may_lose_half_a_volt_from_the_battery(battery_v: float, drop_v: float, verdict: str) -> None:
    told = check(sound(battery=battery_v, supply=battery_v - drop_v, injector=battery_v))
    assert said_of(told, "supply").verdict == verdict


@pytest.mark.parametrize(("volts", "is_wrong"), [(10.4, True), (10.6, False), (15.9, False), (16.1, True)])
def test_a_supply_outside_the_narrowest_class_of_the_standard_is_wrong(volts: float, is_wrong: bool) -> None:
    assert SUPPLY_V == CODE_D_V
    told = check(sound("supply", "acknowledgement", supply=volts))
    assert (said_of(told, "supply").verdict is Verdict.WRONG) is is_wrong


@pytest.mark.parametrize(("volts", "verdict"), [(0.0, "ok"), (0.75, "ok"), (0.85, "wrong"), (4.0, "wrong")])
def test_a_control_at_rest_is_a_low_that_a_driver_input_sees(volts: float, verdict: str) -> None:
    assert said_of(check(sound(control=volts)), "control").verdict == verdict


@pytest.mark.parametrize(("volts", "verdict"), [(4.4, "wrong"), (4.6, "ok"), (5.0, "ok"), (5.4, "ok"), (5.6, "wrong")])
def test_a_line_at_rest_stands_near_five_volts(volts: float, verdict: str) -> None:
    assert said_of(check(sound(acknowledgement=volts)), "acknowledgement").verdict == verdict


def test_noise_up_to_the_hysteresis_of_a_driver_input_is_harmless() -> None:
    assert NOISE_V[0] == HYSTERESIS_V
    for noise_v, verdict in ((0.06, Verdict.OK), (0.07, Verdict.DOUBTFUL)):  # 6.18 deviations hold 99.8 %
        told = check(sound("control", "acknowledgement"), noise_v=noise_v)
        assert said_of(told, "control", Question.NOISE).verdict is verdict
