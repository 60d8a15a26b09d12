from dataclasses import replace

import numpy as np
import pytest

from acquire.block import SampleBlock
from monitor.check.measure import Measurement
from monitor.check.report import Report, report
from monitor.check.verdict import Question, Verdict
from monitor.hookup import Hookup
from monitor.setup import parse_setup
from tests.monitor.check.wires import RATE_HZ, SAMPLES, check, counts_of, hum, info_of, measured_of, said_of, sound

OK, DOUBTFUL, WRONG = Verdict.OK, Verdict.DOUBTFUL, Verdict.WRONG
OFF, UNJUDGED = Verdict.NOT_CONNECTED, Verdict.NOT_JUDGED


def test_sound_wires_are_ready_and_every_line_is_ok() -> None:
    told = check(sound())
    assert told.verdict == "ready"
    assert {one.verdict for one in told.judgements if one.question is not Question.LEVEL} == {OK}
    assert said_of(told, "marker").verdict is UNJUDGED
    assert told.headline == ""


@pytest.mark.parametrize(
    ("role", "volts", "verdict", "words"),
    [
        ("supply", 0.05, OFF, "fuse or relay"),
        ("supply", 12.05, WRONG, "loses volts"),
        ("supply", 13.2, DOUBTFUL, "more than the battery"),
        ("supply", 4.95, WRONG, "swapped"),
        ("supply", -12.6, WRONG, "tip and ground clip"),
        ("supply", 1.25, WRONG, "attenuation 10x off"),
        ("battery", 11.6, DOUBTFUL, "rested battery"),
        ("battery", 12.95, DOUBTFUL, "charger"),
        ("battery", 8.0, WRONG, "flat battery"),
        ("battery", 19.0, WRONG, "more than a 12 V system"),
        ("battery", 0.0, OFF, "nothing on it"),
        ("ground", 0.5, WRONG, "lifted"),
        ("ground", -0.5, WRONG, "below battery negative"),
        ("ground", 5.0, WRONG, "lost its ground"),
        ("control", 1.5, WRONG, "charging all the time"),
        ("control", 4.9, WRONG, "stays high"),
        ("control", 12.4, WRONG, "reads like a feed"),
        ("control", -1.0, DOUBTFUL, "below 0 V"),
        ("acknowledgement", 4.2, WRONG, "too low"),
        ("acknowledgement", 5.8, WRONG, "too high"),
        ("acknowledgement", 0.05, OFF, "key off"),
        ("acknowledgement", 12.4, WRONG, "short to the feed"),
        ("acknowledgement", 0.5, WRONG, "attenuation 10x off"),
        ("acknowledgement", -4.95, WRONG, "tip and ground clip"),
        ("current", 1.5, DOUBTFUL, "zero"),
        ("injector", 0.0, OFF, "lead is off"),
        ("injector", 7.0, DOUBTFUL, "battery voltage"),
    ],
)
def test_a_level_beyond_its_limit_is_told_with_its_meaning_and_what_to_do_next(
    role: str, volts: float, verdict: Verdict, words: str
) -> None:
    told = check(sound(**{role: volts}))
    one = said_of(told, role)
    assert one.verdict is verdict
    assert words in one.said.meaning
    assert one.said.action
    assert one.value == pytest.approx(volts, abs=0.01)
    assert told.is_ready is (verdict is DOUBTFUL)
    assert [other for other in told.judgements if other.is_bad and other is not one] == []


def test_a_feed_without_a_battery_lead_is_judged_alone() -> None:
    levels = {12.5: OK, 11.5: DOUBTFUL, 13.5: DOUBTFUL, 9.0: WRONG, 0.0: OFF}
    assert {v: said_of(check(sound("supply", "acknowledgement", supply=v)), "supply").verdict for v in levels} == levels


def test_a_battery_lead_that_hangs_free_is_no_reference_for_the_feed() -> None:
    told = check(sound("supply", "battery", "acknowledgement", battery=0.0))
    assert (said_of(told, "supply").verdict, said_of(told, "battery").verdict) == (OK, OFF)


@pytest.mark.parametrize(
    ("one", "other"), [("supply", "acknowledgement"), ("control", "acknowledgement"), ("supply", "control")]
)
def test_swapped_leads_are_told_on_both_with_the_name_of_the_other(one: str, other: str) -> None:
    normal = sound("supply", "control", "acknowledgement")
    told = check({**normal, one: normal[other], other: normal[one]})
    names = {"supply": "feed (in1)", "control": "control 1 (in2)", "acknowledgement": "line (in3)"}
    pair = [(one, other), (other, one)]
    said = [said_of(told, mine) for mine, _ in pair]
    # A lead that reads 0 V instead of its level says only that nothing is on it.
    telling = [(line, names[partner]) for line, (_, partner) in zip(said, pair, strict=True) if (line.value or 0) > 1.0]
    assert telling
    assert all(line.is_bad and "swapped" in line.said.meaning for line, _ in telling)
    assert all(partner in line.said.meaning for line, partner in telling)
    assert not told.is_ready


@pytest.mark.parametrize(("volts", "fits"), [(126.0, "1 would fit"), (1.26, "100 would fit")])
def test_a_wrong_attenuator_is_told_with_the_scale_that_would_fit(volts: float, fits: str) -> None:
    told = check(sound("supply", "acknowledgement", supply=volts), scale=10.0)
    assert said_of(told, "supply").verdict is WRONG
    assert fits in said_of(told, "supply").said.action


def test_wires_that_are_all_dead_are_explained_by_the_key_and_prove_nothing() -> None:
    told = check(dict.fromkeys(sound("supply", "control", "ground", "acknowledgement"), 0.02))
    assert "key off?" in told.headline
    assert {said_of(told, role).verdict for role in ("supply", "acknowledgement")} == {OFF}
    assert {said_of(told, role).verdict for role in ("control", "ground")} == {UNJUDGED}
    assert told.verdict == "not ready"


@pytest.mark.parametrize("role", ["acknowledgement", "control", "ground"])
@pytest.mark.parametrize("hz", [50.0, 60.0])
def test_a_lead_that_hangs_free_is_told_by_its_hum(role: str, hz: float) -> None:
    told = check(sound(**{role: 1.5 + hum(3.0, hz)} if role != "ground" else {role: hum(3.0, hz)}))
    assert said_of(told, role).verdict is OFF
    assert "hangs free" in said_of(told, role).said.meaning
    assert said_of(told, None, Question.ENGINE).verdict is OK


def test_hum_on_every_wire_is_the_ground_clip_and_no_lead_that_hangs_free() -> None:
    told = check({role: volts + hum(0.8) for role, volts in sound("supply", "control", "acknowledgement").items()})
    assert {said_of(told, role).verdict for role in ("supply", "control", "acknowledgement")} == {OK}
    noises = [said_of(told, role, Question.NOISE) for role in ("supply", "control", "acknowledgement")]
    assert {one.verdict for one in noises} == {DOUBTFUL}
    assert all("ground clip" in one.said.meaning and "50 Hz" in one.said.meaning for one in noises)
    assert told.verdict == "ready, with doubts"


@pytest.mark.parametrize(("noise_v", "verdict"), [(0.02, OK), (0.1, DOUBTFUL), (0.3, WRONG)])
def test_noise_is_judged_from_peak_to_peak(noise_v: float, verdict: Verdict) -> None:
    # of normal noise, 99.8 % lie within 6.18 standard deviations
    told = check(sound("supply", "acknowledgement"), noise_v=noise_v)
    one = said_of(told, "supply", Question.NOISE)
    assert one.verdict is verdict
    assert one.value == pytest.approx(6.18 * noise_v, rel=0.1)
    assert "restless" in one.said.meaning or verdict is OK


def _with_lows(role: str, lows: int, samples: int) -> Report:
    wires = sound("supply", "control", "acknowledgement")
    counts = counts_of(wires.values())
    row = list(wires).index(role)
    for start in range(1000, 1000 + lows * 2000, 2000):
        counts[row, start : start + samples] = 4800 if role == "control" else 100
    return report(measured_of(info_of(wires), counts))


def test_a_feed_that_lets_go_for_a_moment_is_wrong_though_its_level_is_right() -> None:
    told = _with_lows("supply", 1, 25)
    assert said_of(told, "supply").verdict is OK
    assert said_of(told, "supply", Question.NOISE).verdict is WRONG
    assert "1.2 ms" in said_of(told, "supply", Question.NOISE).said.meaning
    assert said_of(_with_lows("supply", 1, 15), "supply", Question.NOISE).verdict is not WRONG


def test_one_low_of_the_line_is_doubtful_and_many_are_an_engine_that_runs() -> None:
    assert said_of(_with_lows("acknowledgement", 2, 20), "acknowledgement", Question.NOISE).verdict is DOUBTFUL
    for role in ("control", "acknowledgement"):
        told = _with_lows(role, 8, 20)
        engine = said_of(told, None, Question.ENGINE)
        assert engine.verdict is DOUBTFUL
        assert engine.reading.startswith("runs: 8 pulses")
        assert {said_of(told, one, Question.NOISE).verdict for one in ("supply", "control")} == {UNJUDGED}
        assert {said_of(told, one).verdict for one in ("supply", "control", "acknowledgement")} == {OK}


def test_an_input_at_the_end_of_its_range_is_wrong() -> None:
    told = check(sound("supply", "acknowledgement"), ends=(-12_500, 12_499))
    one = said_of(told, "supply", Question.RANGE)
    assert (one.verdict, one.high) == (WRONG, None)
    assert "end of the range" in one.said.meaning
    assert said_of(told, "acknowledgement", Question.RANGE).verdict is OK


def test_a_range_that_will_not_hold_the_running_engine_is_wrong_before_it_is_started() -> None:
    told = check(sound("supply", "acknowledgement"), ends=(-14_000, 14_000))
    assert "once the engine runs" in said_of(told, "supply", Question.RANGE).said.meaning
    assert not told.is_ready
    assert check(sound("supply", "acknowledgement"), ends=(-16_000, 16_000)).is_ready


def test_a_converter_that_is_too_coarse_is_doubtful() -> None:
    wires = sound("supply", "acknowledgement")
    info = info_of(wires)
    coarse = replace(info, channels=tuple(replace(c, volts_per_count=0.156) for c in info.channels))
    counts = np.rint(np.array([[12.5], [4.95]]) / 0.156).astype(np.int16).repeat(SAMPLES, axis=1)
    told = report(measured_of(coarse, counts))
    assert said_of(told, "supply", Question.RANGE).verdict is OK
    assert said_of(told, "acknowledgement", Question.RANGE).verdict is DOUBTFUL


def test_a_table_of_volts_does_not_say_its_range() -> None:
    wires = sound("supply", "acknowledgement")
    info = info_of(wires)
    channels = tuple(replace(c, low_count=-(2**31), high_count=2**31 - 1) for c in info.channels)
    counts = counts_of(wires.values()).astype(np.int32)
    told = report(measured_of(replace(info, channels=channels, dtype=np.dtype(np.int32)), counts))
    assert said_of(told, "supply", Question.RANGE).verdict is UNJUDGED
    assert told.verdict == "ready"


@pytest.mark.parametrize(("rate_hz", "verdict"), [(20_000, OK), (10_000, DOUBTFUL), (5_000, WRONG)])
def test_the_rate_is_judged_by_what_an_answer_needs(rate_hz: float, verdict: Verdict) -> None:
    wires = sound("supply", "acknowledgement")
    told = report(measured_of(info_of(wires, rate_hz), counts_of(wires.values())))
    assert said_of(told, None, Question.RATE).verdict is verdict


def test_samples_that_were_lost_and_a_short_look_are_doubtful() -> None:
    wires = sound("supply", "acknowledgement")
    info, counts = info_of(wires), counts_of(wires.values())
    short = report(measured_of(info, counts[:, :2000]))
    assert said_of(short, None, Question.SAMPLES).verdict is DOUBTFUL
    measurement = Measurement(Hookup.of(parse_setup(info.setup_toml or "", "test"), info), info, 10**9)
    measurement.feed(SampleBlock(0, counts[:, :15_000]))
    measurement.feed(SampleBlock(15_200, counts[:, 15_000:]))
    lost = said_of(report(measurement.finish()), None, Question.SAMPLES)
    assert (lost.verdict, lost.value) == (DOUBTFUL, 200)
    assert lost.reading == f"{SAMPLES / RATE_HZ:.2f} s, 0.99% lost"


@pytest.mark.parametrize(
    ("roles", "names"),
    [
        (("acknowledgement",), ["every control", "feed", "battery", "coil ground", "current clamp", "injector"]),
        (("control",), ["control 2, 3, 4", "acknowledgement line", "feed"]),
        (("supply", "control", "acknowledgement"), ["control 2, 3, 4", "battery"]),
        (("supply", "battery", "ground", "current", "injector", "acknowledgement"), ["every control"]),
    ],
)
def test_what_is_not_connected_is_told_with_its_cost(roles: tuple[str, ...], names: list[str]) -> None:
    missing = check(sound(*roles)).missing
    assert [one.name for one in missing][: len(names)] == names
    assert all(one.cost for one in missing)


def test_a_waste_spark_partner_is_no_control_that_is_missing() -> None:
    wires = sound("control", "acknowledgement")
    info = info_of(wires)
    text = (info.setup_toml or "").replace("[[channel]]", "sparks_per_cycle = 2\n[[channel]]", 1)
    told = report(measured_of(replace(info, setup_toml=text), counts_of(wires.values())))
    assert told.missing[0].cylinders == (2, 3)
