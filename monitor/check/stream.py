"""The measurement as a whole: rate, lost samples, and whether the engine is off at all."""

from monitor.check.limits import LEAST_HZ, RUNNING_PULSES, SHORTEST_S, USUAL_HZ
from monitor.check.oddities import floats
from monitor.check.reading import Measured
from monitor.check.verdict import FINE, Judgement, Question, Said, Verdict
from monitor.text import rate


def pulses_seen(measured: Measured) -> int:
    """Calls or answers on the wire that has most of them; hum on a lead that hangs free is none."""
    return max((one.pulses for one in measured.readings if not floats(one, measured)), default=0)


def engine_runs(measured: Measured) -> bool:
    """Tell whether coils are called or answer."""
    return pulses_seen(measured) >= RUNNING_PULSES


def judge_engine(measured: Measured) -> Judgement:
    """Judge whether the engine is off."""
    if not engine_runs(measured):
        return Judgement(None, Question.ENGINE, FINE, "off", "off")
    said = Said(
        Verdict.DOUBTFUL,
        "it runs, and this check is for key on, engine off: levels are those between pulses, noise is not judged",
        "stop the engine, key on, check again",
    )
    shown = f"runs: {pulses_seen(measured)} pulses in {measured.duration_s:.1f} s"
    return Judgement(None, Question.ENGINE, said, shown, "off")


def judge_rate(measured: Measured) -> Judgement:
    """Judge whether answers will be seen."""
    hertz, said = measured.sample_rate_hz, FINE
    action = "take a higher rate, or fewer inputs"
    if hertz < LEAST_HZ:
        said = Said(Verdict.WRONG, "an answer of 0.5 ms would not be seen", action)
    elif hertz < USUAL_HZ:
        said = Said(Verdict.DOUBTFUL, "enough to see an answer, coarse for its times", action)
    limit = f"{rate(USUAL_HZ)} or more"
    return Judgement(None, Question.RATE, said, rate(hertz), limit, hertz, "Hz", USUAL_HZ)


def judge_samples(measured: Measured) -> Judgement:
    """Judge whether all samples came, and enough of them."""
    lost, said = measured.lost, FINE
    if lost:
        said = Said(
            Verdict.DOUBTFUL,
            "samples were lost: what happens in a gap is not seen",
            "lower the rate, or use another port or cable; an instrument that takes frames always has gaps",
        )
    elif measured.duration_s < SHORTEST_S:
        action = f"look for {SHORTEST_S:g} s or longer, as with --seconds 2"
        said = Said(Verdict.DOUBTFUL, "too short to see mains hum or a loose contact", action)
    share = lost / (measured.samples + lost)
    shown = f"{measured.duration_s:.2f} s, {f'{share:.2%}' if lost else 'none'} lost"
    limit = f"{SHORTEST_S:g} s or more, none lost"
    return Judgement(None, Question.SAMPLES, said, shown, limit, float(lost), "samples", None, 0.0)
