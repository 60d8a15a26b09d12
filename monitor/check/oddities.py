"""Readings that tell of the hookup and not of the car: a lead that hangs free, reversed, swapped, or scaled wrongly."""

from monitor.check.limits import FLOATING_HUM_V, FLOATING_SHARE, NOTHING_V
from monitor.check.reading import Measured, Reading
from monitor.check.verdict import Said, Verdict
from monitor.check.wire import RESTS, Rest, looks_like, name_of
from monitor.setup import Role

_OTHERWISE = {
    Role.ACKNOWLEDGEMENT: "; otherwise the line has a short to the feed, which may harm the controller",
    Role.CONTROL: "; otherwise the call stays high, and its coil charges all the time and gets hot",
    Role.GROUND: "; otherwise the coil has lost its ground",
}


def oddity(reading: Reading, measured: Measured) -> Said | None:
    """Say what is odd about a wire's reading, None where nothing is."""
    expected = RESTS.get(reading.role)
    if expected is None:
        return None
    if floats(reading, measured):
        meaning = f"hum of {reading.hum_v:.1f} V and no level of its own: the lead hangs free, or its wire ends nowhere"
        return Said(Verdict.NOT_CONNECTED, meaning, "key off, seat the lead and its ground clip, check again")
    if looks_like(reading.level_v) is expected:
        return None
    if expected is Rest.ZERO:
        return _swapped(reading, expected, measured)
    return _reversed(reading, expected) or _swapped(reading, expected, measured) or _scaled(reading, expected)


def is_dead(measured: Measured) -> bool:
    """Tell whether no wire that should have a level has one."""
    live = [one for one in measured.readings if RESTS.get(one.role) in (Rest.FEED, Rest.LINE)]
    return bool(live) and all(abs(one.level_v) <= NOTHING_V for one in live)


def floats(reading: Reading, measured: Measured) -> bool:
    """Tell whether a wire shows mains hum only, and more of it than its neighbours do.

    A wire that is at its level is connected, whatever the hum; hum that is on every wire comes in by the ground clip.
    """
    hum_v, rest = reading.hum_v or 0.0, RESTS.get(reading.role)
    if rest is None or hum_v < FLOATING_HUM_V or hum_v < FLOATING_SHARE * reading.noise_v:
        return False
    if rest is not Rest.ZERO and looks_like(reading.level_v) is rest:
        return False
    others = [one.hum_v or 0.0 for one in measured.readings if one is not reading and one.role in RESTS]
    return not others or min(others) < 0.5 * hum_v


def _reversed(reading: Reading, expected: Rest) -> Said | None:
    if looks_like(-reading.level_v) is not expected:
        return None
    meaning = "below 0 V: tip and ground clip are swapped, or scale has the wrong sign"
    return Said(Verdict.WRONG, meaning, "key off, put the clip on battery negative, or turn the sign of scale")


def _scaled(reading: Reading, expected: Rest) -> Said | None:
    """Attenuators come in tens."""
    if abs(reading.level_v) <= NOTHING_V:
        return None
    for factor, side in ((10.0, "small"), (0.1, "large")):
        if looks_like(reading.level_v * factor) is expected:
            scale = reading.lead.channel.scale
            action = (
                f"compare the attenuator's switch with the set-up: scale is {scale:g}, {scale * factor:g} would fit"
            )
            return Said(Verdict.WRONG, f"attenuation 10x off? Ten times too {side} for {expected.value}", action)
    return None


def _swapped(reading: Reading, expected: Rest, measured: Measured) -> Said | None:
    seems = looks_like(reading.level_v)
    if seems is None or seems is Rest.ZERO:
        return None
    partner = next((one for one in measured.readings if _reads_as(one, seems, expected)), None)
    also = f", and {name_of(partner.lead)} reads like {expected.value}" if partner else ""
    otherwise = "" if partner else _OTHERWISE.get(reading.role, "")
    meaning = f"reads like {seems.value}{also}: likely swapped leads{otherwise}"
    action = "key off at once; follow the wire from the lead to its pin, then move the lead or mend the set-up"
    return Said(Verdict.WRONG, meaning, action)


def _reads_as(other: Reading, its_own: Rest, looks: Rest) -> bool:
    """Whether another wire should rest at one level and looks like the other."""
    return RESTS.get(other.role) is its_own and looks_like(other.level_v) is looks
