"""The level of every wire, key on and engine off, against its limit."""

from monitor.check.level_words import WORDS, Side, Subject
from monitor.check.limits import BATTERY_REST_V, CLAMP_ZERO_A, CONTROL_LEAST_V, FEED_DROP_V, NOTHING_V, SUPPLY_V
from monitor.check.oddities import is_dead, oddity
from monitor.check.reading import Measured, Reading
from monitor.check.verdict import FINE, Judgement, Question, Said, Verdict
from monitor.check.wire import RESTS, Rest
from monitor.setup import Role

Band = tuple[float, float]

_SUBJECTS = {
    Role.SUPPLY: Subject.ALONE,
    Role.BATTERY: Subject.ALONE,
    Role.ACKNOWLEDGEMENT: Subject.LINE,
    Role.CONTROL: Subject.CONTROL,
    Role.GROUND: Subject.GROUND,
    Role.CURRENT: Subject.CURRENT,
    Role.INJECTOR: Subject.INJECTOR,
}
_FOR_ENGINE_OFF = {Subject.ALONE, Subject.CURRENT}
_PROVES_NOTHING = Said(Verdict.NOT_JUDGED, "every wire reads 0 V, and so would this one if it were wrong")
_NOT_NOW = Said(Verdict.NOT_JUDGED, "the engine runs, and this limit is for an engine that is off", "")


def judge_level(reading: Reading, measured: Measured, *, running: bool) -> Judgement:
    """Judge one wire's level, the one between its pulses where the engine runs."""
    unit = "A" if reading.role is Role.CURRENT else "V"
    shown = f"{reading.level_v:.2f} {unit}"
    if reading.role not in _SUBJECTS:
        return Judgement(reading.lead, Question.LEVEL, Said(Verdict.NOT_JUDGED), shown, "", reading.level_v, unit)
    battery = _battery(measured) if reading.role is Role.SUPPLY else None
    subject = Subject.BESIDE_BATTERY if battery is not None else _SUBJECTS[reading.role]
    band = _band(reading, measured, battery)
    said = oddity(reading, measured) or WORDS.get((subject, _side(reading, subject, band)), FINE)
    if running and subject in _FOR_ENGINE_OFF and said.verdict is Verdict.DOUBTFUL:
        said = _NOT_NOW
    if said is FINE and is_dead(measured):
        said = _PROVES_NOTHING
    limit = _in_words(reading.role, band, battery)
    return Judgement(reading.lead, Question.LEVEL, said, shown, limit, reading.level_v, unit, *band)


def _battery(measured: Measured) -> Reading | None:
    """The battery, where it is connected and reads like one: a lead that hangs free is no reference."""
    batteries = measured.of_role(Role.BATTERY)
    return next((one for one in batteries if SUPPLY_V[0] <= one.level_v <= SUPPLY_V[1]), None)


def _band(reading: Reading, measured: Measured, battery: Reading | None) -> Band:
    limits = measured.hookup.setup.limits
    if battery is not None:
        return battery.level_v - FEED_DROP_V, battery.level_v + FEED_DROP_V
    return {
        Role.SUPPLY: BATTERY_REST_V,
        Role.BATTERY: BATTERY_REST_V,
        Role.INJECTOR: SUPPLY_V,
        Role.ACKNOWLEDGEMENT: (limits.acknowledgement_rest_low_v, limits.acknowledgement_rest_high_v),
        Role.CONTROL: (CONTROL_LEAST_V, limits.control_low_v),
        Role.GROUND: (-limits.ground_rise_v, limits.ground_rise_v),
        Role.CURRENT: (-CLAMP_ZERO_A, CLAMP_ZERO_A),
    }[reading.role]


def _side(reading: Reading, subject: Subject, band: Band) -> Side:
    level_v, rest = reading.level_v, RESTS.get(reading.role)
    if rest not in (None, Rest.ZERO) and abs(level_v) <= NOTHING_V:
        return Side.NOTHING
    if subject is Subject.ALONE and not SUPPLY_V[0] <= level_v <= SUPPLY_V[1]:
        return Side.FAR_LOW if level_v < SUPPLY_V[0] else Side.FAR_HIGH
    if level_v < band[0]:
        return Side.LOW
    return Side.HIGH if level_v > band[1] else Side.WITHIN


def _in_words(role: Role, band: Band, battery: Reading | None) -> str:
    low, high = band
    if battery is not None:
        return f"{low:.2f} to {high:.2f} V, battery {battery.level_v:.2f} V"
    match role:
        case Role.CONTROL:
            return f"{high:g} V or less"
        case Role.GROUND:
            return f"within {high:g} V of 0 V"
        case Role.CURRENT:
            return f"within {high:g} A of 0 A"
    return f"{low:g} to {high:g} V"
