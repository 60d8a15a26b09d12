"""Whether the input suits its wire: how still it is, what it can show, and how finely."""

from monitor.check.limits import CHARGING_V, CLIPPED_SAMPLES, FLOATING_SHARE, NOISE_V, STEP_V
from monitor.check.reading import Measured, Reading
from monitor.check.verdict import FINE, Judgement, Question, Said, Verdict
from monitor.check.wire import RESTS, Rest
from monitor.setup import Role


def judge_noise(reading: Reading, measured: Measured, *, running: bool) -> Judgement:
    """Judge what moves on a wire that should stand still, and moments at which it was gone."""
    said = Said(Verdict.NOT_JUDGED) if running else _noise(reading, measured)
    noise_v, limit_v = reading.noise_v, NOISE_V[0]
    shown, limit = f"{noise_v:.2f} V p-p", f"{limit_v:g} V or less"
    return Judgement(reading.lead, Question.NOISE, said, shown, limit, noise_v, "V", None, limit_v)


def _noise(reading: Reading, measured: Measured) -> Said:
    limits = measured.hookup.setup.limits
    if limits.supply_dropout_ms / 1e3 <= reading.dropped_s < 0.5 * measured.duration_s:
        gone_v, gone_ms = limits.supply_dropout_v, reading.dropped_s * 1e3
        meaning = f"the feed was below {gone_v:g} V for {gone_ms:.1f} ms: a loose contact"
        return Said(Verdict.WRONG, meaning, "move harness, fuse and relay by hand while coilcall watch --flex counts")
    if reading.pulses:
        meaning = f"short pulses, engine off: {reading.pulses}; a loose contact, or the controller tries its outputs"
        return Said(Verdict.DOUBTFUL, meaning, "check again; if they come back, move the harness under watch --flex")
    if reading.noise_v <= NOISE_V[0]:
        return FINE
    verdict = Verdict.WRONG if reading.noise_v > NOISE_V[1] else Verdict.DOUBTFUL
    if reading.hum_v is not None and reading.hum_v > FLOATING_SHARE * reading.noise_v:
        meaning = f"mains hum, {reading.hum_hz:.0f} Hz: a ground clip that does not hold, or a charger or lamp close by"
        return Said(verdict, meaning, "seat the ground clip on battery negative; run the laptop from its battery")
    meaning = "restless though nothing is switched: poor ground clip, loose contact, or a pump's wiring close by"
    return Said(verdict, meaning, "seat lead and clip, lead it away from other wiring, check again")


def judge_range(reading: Reading, measured: Measured) -> Judgement:
    """Judge whether the input can show what this wire will do once the engine runs."""
    if reading.range_v is None:
        return Judgement(reading.lead, Question.RANGE, Said(Verdict.NOT_JUDGED), "not said by the samples")
    low_v, high_v = reading.range_v
    unit = "A" if reading.role is Role.CURRENT else "V"
    needed_v = _needed_v(reading, measured)
    said = _range(reading, high_v, needed_v)
    shown = f"{low_v:.4g} to {high_v:.4g} {unit}, {_used(reading, reading.range_v):.0%} used"
    limit = "" if needed_v is None else f"up to {needed_v:g} V or more"
    return Judgement(reading.lead, Question.RANGE, said, shown, limit, high_v, unit, needed_v)


def _needed_v(reading: Reading, measured: Measured) -> float | None:
    """The highest level that the wire will have; an injector's kick may be clipped."""
    if RESTS.get(reading.role) is Rest.FEED:
        return CHARGING_V
    if reading.role in (Role.ACKNOWLEDGEMENT, Role.CONTROL):
        return measured.hookup.setup.limits.acknowledgement_rest_high_v
    return None


def _range(reading: Reading, high_v: float, needed_v: float | None) -> Said:
    if reading.clipped >= CLIPPED_SAMPLES and reading.role is not Role.INJECTOR:
        meaning = "the reading stands at the end of the range: the true value is beyond it"
        return Said(Verdict.WRONG, meaning, "choose a wider range or a larger attenuator, and say so in the set-up")
    if needed_v is not None and high_v < needed_v:
        meaning = "enough for now and too little once the engine runs: it will be clipped"
        return Said(Verdict.WRONG, meaning, "choose a wider range or a larger attenuator before starting")
    coarsest_v = STEP_V["feed" if RESTS.get(reading.role) is Rest.FEED else "logic"]
    if reading.role in RESTS and reading.step_v > coarsest_v:
        meaning = f"steps of {reading.step_v:.2g} V are coarse beside the limits on this wire"
        return Said(Verdict.DOUBTFUL, meaning, "choose a narrower range that still holds the wire")
    return FINE


def _used(reading: Reading, range_v: tuple[float, float]) -> float:
    """Share of the range between 0 and its end that the readings reach to, on the side where they reach further."""
    low_v, high_v = range_v
    up = reading.most_v / high_v if high_v > 0.0 else 0.0
    down = reading.least_v / low_v if low_v < 0.0 else 0.0
    return min(max(up, down, 0.0), 1.0)
