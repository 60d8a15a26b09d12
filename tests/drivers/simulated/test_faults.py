"""Every fault: on the wires and in the truth."""

import math

import numpy as np
import pytest

from acquire.errors import AddressError
from drivers.simulated.draws import normal, uniform
from drivers.simulated.faults import KINDS, Fault
from drivers.simulated.model import Acknowledgement, EngineModel
from drivers.simulated.truth import TrueFiring

from .bench import Run, crossings, drain, plain, run, steady

ALL_LEADS = ("supply", *(f"control{c}" for c in range(1, 7)), "acknowledgement", "current", "ground", "injector4")


def _with(fault: Fault, **rest: object) -> Run:
    return run(None, steady(14.0), (fault,), inputs=ALL_LEADS, **{"duration_s": 2.0, **rest})


def _of(done: Run, cylinder: int) -> list[TrueFiring]:
    return [f for f in done.engine.truth() if f.cylinder == cylinder and f.expected is not None]


@pytest.mark.parametrize(("value", "most_a"), [("branch", 6.6), ("coil", 0.02)])
def test_an_unanswered_call_loses_the_answer_alone_or_the_current_too(value: str, most_a: float) -> None:
    done = _with(Fault("no-answer", 4, value=value))
    for firing in _of(done, 4):
        assert (firing.called, firing.answered, firing.expected) == (True, False, "unacknowledged")
        assert done.at("control4", firing.spark_s - 1e-4) > 4.5
        assert done.between("acknowledgement", firing.rise_s, firing.spark_s).min() > 4.9
        assert done.between("current", firing.rise_s, firing.spark_s).max() == pytest.approx(most_a, abs=0.15)
    assert all(f.expected == "acknowledged" for f in _of(done, 1))


def test_an_uncalled_turn_draws_no_current_and_has_no_answer() -> None:
    done = _with(Fault("no-call", 4))
    for firing in _of(done, 4):
        assert (firing.called, firing.answered, firing.expected) == (False, False, "uncommanded")
        around = (firing.rise_s, firing.spark_s + 1e-3)
        assert done.between("control4", *around).max() < 0.1
        assert done.between("current", *around).max() < 0.01
        assert done.between("acknowledgement", *around).min() > 4.9


def test_an_uncalled_turn_without_its_control_connected_is_expected_as_unanswered() -> None:
    done = run(None, steady(14.0), (Fault("no-call", 4),))
    assert {f.expected for f in _of(done, 4)} == {"unacknowledged"}
    assert {f.called for f in _of(done, 4)} == {False}


@pytest.mark.parametrize("kind", ["no-answer", "no-call", "weak-pull-down"])
def test_probability_is_the_share_of_turns_struck(kind: str) -> None:
    fault = Fault(kind, 4, probability=0.1, value="branch" if kind == "no-answer" else None)
    done = run(None, steady(14.0, 6000.0), (fault,), duration_s=20.0, sample_rate_hz=10_000, inputs=ALL_LEADS)
    turns = _of(done, 4)
    struck = sum(f.expected != "acknowledged" for f in turns)
    share = 0.0 if kind == "weak-pull-down" else 0.1
    assert struck / len(turns) == pytest.approx(share, abs=4.0 * math.sqrt(0.09 / len(turns)))
    assert all(f.expected == "acknowledged" for f in done.engine.truth() if f.cylinder != 4 and f.expected)


def test_a_fault_keeps_to_its_time() -> None:
    done = _with(Fault("no-answer", 4, start_s=0.5, end_s=1.2))
    for firing in _of(done, 4):
        assert firing.answered == (not 0.5 <= firing.spark_s < 1.2)


def test_a_feed_dropout_takes_the_supply_and_the_answers_away() -> None:
    done = _with(Fault("feed-dropout", start_s=0.8, end_s=1.0))
    assert done.between("supply", 0.801, 0.999).max() < 0.1
    assert done.between("current", 0.801, 0.999).max() < 0.01
    gone = [f for f in done.engine.truth() if f.rise_s > 0.805 and f.spark_s < 0.995]
    assert gone
    assert all(f.called and f.expected == "unacknowledged" and f.current_a == 0.0 for f in gone)
    [event] = [e for e in done.engine.events() if e.kind == "feed-dropout"]
    assert (event.start_s, event.end_s) == (0.8, 1.0)


def test_episodes_of_dropout_start_around_their_turns_and_last_their_time() -> None:
    done = _with(Fault("feed-dropout", probability=0.1, duration_s=0.004), duration_s=10.0)
    events = [e for e in done.engine.events() if e.kind == "feed-dropout"]
    assert 20 < len(events) < 60
    for event in events:
        assert event.end_s - event.start_s == pytest.approx(0.004)
        if 0.01 < event.start_s < 9.9:
            assert done.at("supply", event.start_s + 0.002) < 0.1


def test_a_branch_dropout_spares_the_others() -> None:
    done = _with(Fault("feed-dropout", 4, start_s=0.5))
    assert all(f.expected == "unacknowledged" for f in _of(done, 4) if f.rise_s > 0.5)
    assert all(f.expected == "acknowledged" for f in _of(done, 2))
    assert done.between("supply", 0.6, 2.0).min() > 13.0


def test_feed_resistance_deepens_the_sag_and_delays_the_answers() -> None:
    healthy, sick = _with(Fault("no-call", 4, start_s=9.0)), _with(Fault("feed-resistance", value=0.5))
    assert sick.volts["supply"].min() < healthy.volts["supply"].min() - 2.0
    for good, bad in zip(_of(healthy, 2), _of(sick, 2), strict=True):
        assert good.answer_start_s is not None
        assert bad.answer_start_s is not None
        assert bad.answer_start_s > good.answer_start_s + 2e-5
        # i(t) with R = 0.5 + 0.08 + 0.5 ohm, the textbook RL charge
        expected_s = -3.75e-3 / 1.08 * math.log(1.0 - 2.0 * 1.08 / 14.0)
        assert bad.answer_start_s - bad.rise_s == pytest.approx(expected_s, abs=1e-8)


def test_feed_resistance_of_one_branch_shows_on_that_coil_alone() -> None:
    done = _with(Fault("feed-resistance", 1, value=0.5))
    delays_s = {c: np.mean([(f.answer_start_s or 0.0) - f.rise_s for f in _of(done, c)]) for c in (1, 2)}
    assert delays_s[1] > delays_s[2] + 1e-5
    for firing in _of(done, 1):
        assert done.at("supply", firing.spark_s - 2e-5) == pytest.approx(14.0 - 0.58 * firing.current_a, abs=0.05)
    for firing in _of(done, 2):
        assert done.at("supply", firing.spark_s - 2e-5) == pytest.approx(14.0 - 0.08 * firing.current_a, abs=0.02)


def test_ground_resistance_lifts_the_ground_pin() -> None:
    done = _with(Fault("ground-resistance", value=0.15))
    for firing in _of(done, 5):
        assert done.at("ground", firing.spark_s - 2e-5) == pytest.approx(0.15 * firing.current_a, abs=0.02)
        assert done.at("ground", firing.rise_s - 1e-4) == pytest.approx(0.0, abs=0.001)


def test_a_line_held_low_hides_the_answers_under_it() -> None:
    done = _with(Fault("line-held-low", start_s=0.8, end_s=1.0, value=0.1))
    assert done.between("acknowledgement", 0.801, 0.999).max() < 0.11
    hidden = [f for f in done.engine.truth() if f.answer_start_s and 0.8 < f.answer_start_s < 1.0]
    assert hidden
    assert all(f.expected == "unacknowledged" for f in hidden)


@pytest.mark.parametrize(("side", "level_v"), [("coil", 4.95), ("controller", 0.2)])
def test_an_open_line_rests_high_or_floats_and_brings_no_answer(side: str, level_v: float) -> None:
    done = _with(Fault("line-open", start_s=0.8, end_s=1.0, value=side))
    assert done.between("acknowledgement", 0.801, 0.999) == pytest.approx(level_v, abs=0.02)
    lost = [f for f in done.engine.truth() if f.rise_s > 0.8 and f.spark_s < 1.0]
    assert all(f.expected == "unacknowledged" for f in lost)


def test_a_weak_pull_up_rests_lower_and_recovers_slowly() -> None:
    done = _with(Fault("weak-pull-up", value=20e3), sample_rate_hz=1_000_000, duration_s=0.5)
    rest_v = 5.0 * 100.0 / 120.0
    assert np.median(done.volts["acknowledgement"]) == pytest.approx(rest_v, abs=0.01)
    firing = _of(done, 2)[0]
    assert firing.answer_end_s is not None
    tau_s = 3e-9 * 20e3 * 100e3 / 120e3
    low_v, later_v = (done.at("acknowledgement", firing.answer_end_s + t) for t in (-1e-5, tau_s))
    assert (later_v - low_v) / (rest_v - low_v) == pytest.approx(1.0 - math.exp(-1.0), abs=0.05)


def test_a_weak_pull_down_does_not_reach_the_low_level() -> None:
    done = _with(Fault("weak-pull-down", 4))
    for cylinder, weak in ((4, True), (2, False)):
        for firing in _of(done, cylinder):
            assert firing.answer_start_s is not None
            assert (done.at("acknowledgement", firing.answer_start_s + 2e-4) > 1.5) == weak


def test_the_fail_safe_gives_a_cylinder_up_after_six_misses_and_stops_its_fuel() -> None:
    # Service literature: no answer for 6 consecutive calls
    faults = (Fault("no-answer", 4), Fault("fail-safe"))
    done = run(None, steady(14.0), faults, inputs=ALL_LEADS, duration_s=4.0)
    turns = [f for f in done.engine.truth() if f.cylinder == 4]
    assert [f.called for f in turns[:8]] == [True] * 6 + [False] * 2
    assert not any(f.called for f in turns[6:])
    opened = crossings(done.volts["injector4"], 6.0, done.rate_hz, rising=False)
    assert len(opened) == 5
    [event] = [e for e in done.engine.events() if e.kind == "fail-safe"]
    assert event.start_s == turns[5].spark_s


def test_misses_that_are_not_consecutive_do_not_trip_the_fail_safe() -> None:
    faults = (Fault("no-answer", 4, probability=0.3), Fault("fail-safe", value=40))
    assert all(f.called for f in run(None, steady(14.0, 3000.0), faults, duration_s=10.0).engine.truth())


def test_stray_answers_come_where_nobody_called() -> None:
    done = _with(Fault("stray-answer", probability=0.1), duration_s=5.0)
    events = [e for e in done.engine.events() if e.kind == "stray-answer"]
    assert len(events) > 5
    for event in events:
        if event.end_s < 4.99:
            assert done.at("acknowledgement", 0.5 * (event.start_s + event.end_s)) < 1.0
            assert done.between("current", event.start_s, event.end_s).max() < 0.01
    falls = crossings(done.volts["acknowledgement"], 2.5, done.rate_hz, rising=False)
    assert abs(len(falls) - len(events) - sum(f.answered for f in done.engine.truth())) <= 1


def test_glitches_are_microseconds_and_change_no_outcome() -> None:
    done = _with(Fault("glitch", value=4e-6), sample_rate_hz=1_000_000, duration_s=0.5)
    events = [e for e in done.engine.events() if e.kind == "glitch" and 0.001 < e.start_s < 0.499]
    assert len(events) > 10
    logic = [n for n in done.volts if n.startswith(("control", "ack"))]
    for event in events:
        window = (event.start_s - 3e-6, event.end_s + 3e-6)
        assert max(np.ptp(done.between(name, *window)) for name in logic) > 3.0
    assert all(f.expected in ("acknowledged", None) for f in done.engine.truth())


def test_lost_samples_are_a_jump_of_the_index_and_leave_the_rest_unchanged() -> None:
    fault = Fault("lost-samples", start_s=0.5, end_s=0.6)
    engine = run(None, steady(14.0), (fault,)).engine
    assert {f.expected for f in engine.truth() if f.rise_s > 0.503 and f.spark_s < 0.599} == {"unobserved"}
    from drivers.simulated.source import SimulatedEngine

    whole = np.concatenate([b.counts for b in drain(SimulatedEngine(None, steady(14.0), duration_s=1.0))], axis=1)
    blocks = drain(SimulatedEngine(None, steady(14.0), (fault,), duration_s=1.0))
    seen = np.concatenate([np.arange(b.first_index, b.end_index) for b in blocks])
    assert set(range(100_000)) - set(seen.tolist()) == set(range(50_000, 60_000))
    for block in blocks:
        np.testing.assert_array_equal(block.counts, whole[:, block.first_index : block.end_index])


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_wrong_dwell_is_so_much_shorter_or_longer(share: float) -> None:
    done = _with(Fault("dwell", 4, value=share))
    usual_s = _of(done, 2)[0].dwell_s
    for firing in _of(done, 4):
        assert firing.spark_s - firing.rise_s == pytest.approx(share * usual_s, rel=1e-3)
        assert done.at("control4", firing.rise_s + 2e-5) > 4.5
        assert done.at("control4", firing.rise_s - 2e-5) < 0.1


def test_a_weak_control_does_not_reach_a_clean_high_level() -> None:
    # A driver data sheet: input high from 4 V
    done = _with(Fault("weak-control", 4))
    assert done.volts["control4"].max() == pytest.approx(3.0, abs=0.01)
    assert done.volts["control2"].max() == pytest.approx(4.8, abs=0.01)


def test_an_injector_can_stop_alone() -> None:
    done = _with(Fault("no-injection", 4, start_s=1.0), duration_s=3.0)
    opened = crossings(done.volts["injector4"], 6.0, done.rate_hz, rising=False)
    assert 4 <= len(opened) <= 8
    assert opened.max() < 1.2
    assert all(f.expected == "acknowledged" for f in _of(done, 4))


def test_mains_hum_lies_on_every_input() -> None:
    done = _with(Fault("no-call", start_s=0.0), hum_v=0.2, duration_s=1.0)
    for name in ("supply", "control1", "acknowledgement", "ground"):
        spectrum = np.abs(np.fft.rfft(done.volts[name] - done.volts[name].mean())) * 2.0 / len(done.volts[name])
        assert spectrum[50] == pytest.approx(0.2, abs=0.02)


def test_line_and_coil_numbers_of_two_lines_keep_apart() -> None:
    model = EngineModel(cylinders=8, lines=((1, 4, 6, 7), (8, 3, 5, 2)))
    done = run(model, steady(14.0), (Fault("line-held-low", 1),), inputs=("acknowledgement1", "acknowledgement2"))
    assert done.volts["acknowledgement1"].max() < 0.2
    assert {f.expected for f in done.engine.truth() if f.cylinder in (8, 3, 5, 2)} <= {"acknowledged", None}


def test_at_spark_coils_do_not_answer_for_a_current_that_was_too_small() -> None:
    model = plain(acknowledgement=Acknowledgement(timing="at-spark", low_a=3.0))
    done = run(model, steady(1.4), inputs=("control1", "acknowledgement"))
    assert {f.expected for f in done.engine.truth()} <= {"unacknowledged", None}


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "nothing"},
        {"kind": "no-answer", "value": 3.0},
        {"kind": "no-answer", "value": "wire"},
        {"kind": "feed-resistance", "value": "much"},
        {"kind": "feed-resistance", "value": -1.0},
        {"kind": "feed-resistance", "value": math.nan},
        {"kind": "dwell", "value": 3.0},
        {"kind": "no-call", "probability": 1.5},
        {"kind": "no-call", "probability": math.nan},
        {"kind": "no-call", "start_s": 2.0, "end_s": 1.0},
        {"kind": "lost-samples", "duration_s": 0.0},
    ],
)
def test_nonsense_is_refused_in_one_line(fields: dict[str, object]) -> None:
    with pytest.raises(AddressError, match="fault=") as caught:
        Fault(**fields)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_can_be_run(kind: str) -> None:
    faults = (Fault(kind, probability=0.2), Fault(kind, 4, start_s=0.1, end_s=0.3))
    assert len(run(None, None, faults, inputs=ALL_LEADS, duration_s=0.5, noise_v=0.005).engine.truth()) > 15


def test_draws_are_uniform_normal_and_independent_of_their_neighbours() -> None:
    numbers = uniform(7, 3, np.arange(100_000))
    np.testing.assert_allclose(np.histogram(numbers, 20, (0, 1))[0] / 5000.0, 1.0, atol=0.08)
    assert abs(np.corrcoef(numbers[:-1], numbers[1:])[0, 1]) < 0.02
    assert abs(np.corrcoef(numbers, uniform(7, 4, np.arange(100_000)))[0, 1]) < 0.02
    assert abs(np.corrcoef(numbers, uniform(8, 3, np.arange(100_000)))[0, 1]) < 0.02
    bells = normal(7, 3, np.arange(100_000))
    assert abs(bells.mean()) < 0.02
    assert bells.std() == pytest.approx(1.0, abs=0.02)
