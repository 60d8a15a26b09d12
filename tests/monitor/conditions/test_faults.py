"""Every kind of flag that a wire can raise, from the simulated fault to its start, its end and its evidence; and the
limits of single watches, over rolls made up for them."""

import re
from collections.abc import Callable, Iterable

import pytest

from drivers.simulated.faults import Fault
from drivers.simulated.model import Acknowledgement, EngineModel
from drivers.simulated.scenario import constant
from drivers.simulated.source import SimulatedEngine
from monitor.conditions.drift import DriftWatch
from monitor.conditions.dwell import DwellWatch
from monitor.conditions.injector import InjectorWatch
from monitor.conditions.supply import SupplyWatch
from monitor.conditions.watches import Watch
from monitor.firing.records import Firing
from monitor.firing.records import Outcome as Became
from monitor.flagbook import FlagBook
from monitor.flags import Flag, Kind, Severity
from monitor.setup import Limits
from tests.monitor.engines import ORDERS, THREE_LEADS, Outcome, all_leads, analyse

FROM_S, TO_S = 2.0, 3.5
CYCLE_S = 0.08
ANSWERED = Became.ACKNOWLEDGED
EVERYTHING = (*all_leads(6), "battery", "ground", "current", "injector1", "injector4")


def run(
    *faults: Fault,
    inputs: tuple[str, ...] = EVERYTHING,
    rate_hz: float = 20_000.0,
    range_v: float | None = None,
    model: EngineModel | None = None,
) -> Outcome:
    """Five seconds of a six at 1500 rpm: a cycle is 80 ms."""
    engine = SimulatedEngine(
        model or EngineModel(6, ORDERS[6]),
        constant(1500.0),
        faults,
        inputs=inputs,
        sample_rate_hz=rate_hz,
        duration_s=5.0,
        input_range_v=range_v,
    )
    return analyse(engine)


def of_kind(found: Outcome, kind: Kind) -> list[Flag]:
    return [flag for flag in found.flags if flag.kind is kind]


def number_in(pattern: str, detail: str) -> float:
    match = re.search(pattern, detail)
    assert match is not None, detail
    return float(match.group(1))


LASTING = [
    (Fault("weak-pull-up", None, 1.0, FROM_S, TO_S), Kind.ACKNOWLEDGEMENT_REST_LEVEL, {None}, r"at ([\d.]+) V", 4.16),
    (Fault("weak-pull-down", 4, 1.0, FROM_S, TO_S), Kind.ACKNOWLEDGEMENT_LOW_LEVEL, {4}, r"line to ([\d.]+) V", 2.12),
    (Fault("weak-control", 1, 1.0, FROM_S, TO_S), Kind.CONTROL_LEVEL, {1}, r"call ([\d.]+) V high", 3.0),
    (Fault("dwell", 3, 1.0, FROM_S, TO_S, value=0.5), Kind.DWELL_SHORT, {3}, r"charged for ([\d.]+) ms", 1.03),
    (Fault("dwell", 3, 1.0, FROM_S, TO_S, value=1.6), Kind.DWELL_LONG, {3}, r"charged for ([\d.]+) ms", 3.3),
    (Fault("no-call", 5, 1.0, FROM_S, TO_S), Kind.MISSING_COMMAND, {5}, None, 0.0),
    (Fault("no-answer", 2, 1.0, FROM_S, TO_S), Kind.MISSING_ACKNOWLEDGEMENT, {2}, None, 0.0),
    (Fault("no-injection", 4, 1.0, FROM_S, TO_S), Kind.INJECTOR_OFF, {4}, None, 0.0),
    (Fault("feed-resistance", None, 1.0, FROM_S, TO_S), Kind.SUPPLY_SAG, set(range(1, 7)), r"about ([\d.]+) ohm", 0.48),
]  # fmt: skip
"""A fault that lasts, its flag, the flagged, and the evidence: 5 V behind 20 kilohm loaded with 100 kilohm is 4.17 V;
0.7 V and 500 ohm under 1 kilohm is 2.1 V; half and 1.6 times the 2.06 ms that 6.5 A take at 13.9 V."""


@pytest.mark.parametrize(
    ("fault", "kind", "cylinders", "evidence", "value"), LASTING, ids=[f"{row[0].kind}-{row[1]}" for row in LASTING]
)
def test_a_lasting_fault_is_flagged_from_its_start_to_its_end_with_its_measure(
    fault: Fault, kind: Kind, cylinders: set[int | None], evidence: str | None, value: float
) -> None:
    flags = of_kind(run(fault), kind)
    assert {flag.cylinder for flag in flags} == cylinders
    assert len(flags) == len(cylinders)
    for flag in flags:
        assert flag.start_s == pytest.approx(FROM_S, abs=4.0 * CYCLE_S)
        assert flag.end_s == pytest.approx(TO_S, abs=4.0 * CYCLE_S)
        assert flag.count > 10
        if evidence is not None:
            assert number_in(evidence, flag.detail) == pytest.approx(value, rel=0.15)


@pytest.mark.parametrize("inputs", [THREE_LEADS, EVERYTHING], ids=["modelled", "measured"])
@pytest.mark.parametrize("added_ohm", [0.25, 0.4, 0.6])
def test_the_feeds_resistance_is_estimated_with_and_without_a_clamp(added_ohm: float, inputs: tuple[str, ...]) -> None:
    found = run(Fault("feed-resistance", value=added_ohm), inputs=inputs)
    flag = of_kind(found, Kind.SUPPLY_SAG)[0]
    assert number_in(r"about ([\d.]+) ohm", flag.detail) == pytest.approx(added_ohm + 0.08, rel=0.15)
    low, high = (number_in(pattern, flag.detail) for pattern in (r"\(([\d.]+) to", r"to ([\d.]+)\)"))
    assert low <= high
    assert ("measured" if "current" in inputs else "assumed") in flag.detail


def test_a_lifted_ground_is_flagged_while_it_is_lifted() -> None:
    """0.15 ohm under 6 A and more are 0.9 V; the limit is 0.3 V."""
    flags = of_kind(run(Fault("ground-resistance", None, 1.0, FROM_S, TO_S)), Kind.GROUND_RISE)
    assert {flag.cylinder for flag in flags} == set(range(1, 7))
    for flag in flags:
        assert flag.severity is Severity.FAULT
        assert flag.start_s == pytest.approx(FROM_S, abs=CYCLE_S)
        assert flag.end_s == pytest.approx(TO_S, abs=4 * CYCLE_S)
        assert number_in(r"at ([\d.]+) V", flag.detail) == pytest.approx(0.15 * 5.6, rel=0.15)


def test_an_injector_that_stops_after_misses_is_a_fault_and_without_them_is_none() -> None:
    inputs = (*THREE_LEADS, "injector4")
    given_up = run(Fault("no-answer", 4, start_s=FROM_S), Fault("fail-safe"), inputs=inputs)
    alone = run(Fault("no-injection", 4, 1.0, FROM_S, TO_S), inputs=inputs)
    assert [flag.severity for flag in of_kind(given_up, Kind.INJECTOR_OFF)] == [Severity.FAULT]
    assert [flag.severity for flag in of_kind(alone, Kind.INJECTOR_OFF)] == [Severity.INFO]


def test_the_controllers_fail_safe_shows_as_six_misses_and_then_no_call() -> None:
    """No answer for 6 calls in a row: the controller stops (service literature on several systems)."""
    found = run(Fault("no-answer", 4, start_s=FROM_S), Fault("fail-safe", value=6.0))
    (misses,) = of_kind(found, Kind.MISSING_ACKNOWLEDGEMENT)
    (silence,) = of_kind(found, Kind.MISSING_COMMAND)
    assert (misses.cylinder, misses.count) == (4, 6)
    assert silence.cylinder == 4
    assert silence.start_s == pytest.approx(misses.start_s + 6 * CYCLE_S, abs=0.01)
    assert silence.end_s is None


def test_a_short_range_is_said_of_the_inputs_that_leave_it_and_of_no_other() -> None:
    """5 V of a call and of the line do not fit 4 V, nor do 14 V of the feed."""
    found = run(inputs=THREE_LEADS, range_v=4.0)
    assert {flag.input for flag in of_kind(found, Kind.CLIPPED_INPUT)} == {"in1", "in2", "in3"}
    assert {flag.input for flag in of_kind(run(inputs=THREE_LEADS, range_v=12.0), Kind.CLIPPED_INPUT)} == {"in1"}
    assert of_kind(run(inputs=THREE_LEADS, range_v=20.0), Kind.CLIPPED_INPUT) == []


@pytest.mark.parametrize(("rate_hz", "is_slow"), [(4_000.0, True), (7_900.0, True), (10_000.0, False)])
def test_a_rate_that_cannot_show_an_answer_is_said(rate_hz: float, is_slow: bool) -> None:
    """Four samples in 0.5 ms need 8 kS/s; an answer of 14 V lasts 0.6 ms by the charging formula."""
    flags = of_kind(run(inputs=THREE_LEADS, rate_hz=rate_hz), Kind.SAMPLING_TOO_SLOW)
    assert bool(flags) is is_slow
    assert all(flag.start_s == 0.0 for flag in flags)


def test_answers_too_short_for_the_rate_are_said_when_they_come() -> None:
    model = EngineModel(6, ORDERS[6], acknowledgement=Acknowledgement("at-spark", width_s=0.15e-3))
    (flag,) = of_kind(run(inputs=all_leads(6), model=model), Kind.SAMPLING_TOO_SLOW)
    assert "4 are needed" in flag.detail


def test_answers_nobody_called_for_are_flagged_where_they_begin_and_end() -> None:
    source = SimulatedEngine(
        EngineModel(6, ORDERS[6]),
        constant(1500.0),
        (Fault("stray-answer", probability=0.03),),
        inputs=all_leads(6),
        sample_rate_hz=20_000.0,
        duration_s=5.0,
    )
    flags = of_kind(analyse(source), Kind.STRAY_ACKNOWLEDGEMENT)
    strays = [event for event in source.events() if event.kind == "stray-answer"]
    assert len(flags) == len(strays) > 3
    for flag, event in zip(flags, strays, strict=True):
        assert flag.start_s == pytest.approx(event.start_s, abs=1e-4)
        assert flag.end_s == pytest.approx(event.end_s, abs=1e-4)


def test_a_coil_whose_answers_change_is_told_before_one_is_lost() -> None:
    """A weak feed of one coil's own: its current climbs later and stays longer between the two levels."""
    found = run(Fault("feed-resistance", 4, 1.0, FROM_S, value=0.9), inputs=all_leads(6))
    (flag,) = of_kind(found, Kind.ACKNOWLEDGEMENT_DRIFT)
    assert (flag.cylinder, flag.severity) == (4, Severity.INFO)
    assert FROM_S < flag.start_s < FROM_S + 12 * CYCLE_S
    assert of_kind(found, Kind.MISSING_ACKNOWLEDGEMENT) == []


def test_a_line_of_half_the_coils_is_silent_though_calls_without_a_line_go_on() -> None:
    model = EngineModel(4, ORDERS[4], lines=((1, 4), (2, 3)))
    inputs = ("supply", "control1", "control2", "control3", "control4", "acknowledgement")
    breaks = [Fault("line-open", n, 1.0, FROM_S, TO_S) for n in (1, 4)]
    (flag,) = of_kind(run(*breaks, inputs=inputs, model=model), Kind.ACKNOWLEDGEMENT_SILENT)
    assert flag.start_s == pytest.approx(FROM_S, abs=2 * CYCLE_S)
    assert flag.end_s == pytest.approx(TO_S, abs=2 * CYCLE_S)


@pytest.mark.parametrize(("to_s", "silences"), [(FROM_S + CYCLE_S, 0), (TO_S, 1)])
def test_a_lone_coil_that_misses_once_is_no_silent_line(to_s: float, silences: int) -> None:
    model = EngineModel(1, ORDERS[1])
    found = run(Fault("no-answer", 1, 1.0, FROM_S, to_s), inputs=all_leads(1), model=model)
    assert len(of_kind(found, Kind.MISSING_ACKNOWLEDGEMENT)) == 1
    assert len(of_kind(found, Kind.ACKNOWLEDGEMENT_SILENT)) == silences


def test_misses_with_answers_between_them_are_no_silent_line() -> None:
    found = run(Fault("no-answer", 2, 1.0, FROM_S, TO_S), inputs=all_leads(6))
    assert of_kind(found, Kind.MISSING_ACKNOWLEDGEMENT)[0].count > 6
    assert of_kind(found, Kind.ACKNOWLEDGEMENT_SILENT) == []


def raised(watch: Callable[[FlagBook], Watch], roll: Iterable[Firing]) -> tuple[Flag, ...]:
    """What one watch alone makes of a roll."""
    book = FlagBook()
    watching = watch(book)
    for firing in roll:
        watching.take(firing)
    return book.changes()


def supply(book: FlagBook) -> SupplyWatch:
    return SupplyWatch(book, Limits(), 1, "in1")


def test_a_sag_that_comes_and_goes_by_a_tenth_of_a_volt_about_its_limit_is_one_flag() -> None:
    lows_v = [14.0 - Limits().supply_sag_v + off_v for off_v in (-0.1, 0.1) * 10]
    roll = [Firing(n, 1, n / 10, ANSWERED, supply_before_v=14.0, supply_low_v=v) for n, v in enumerate(lows_v)]
    (flag,) = raised(supply, roll)
    assert (flag.kind, flag.count, flag.end_s) == (Kind.SUPPLY_SAG, 10, None)


def test_a_feed_that_comes_and_goes_by_a_tenth_of_a_volt_about_its_limit_is_one_flag() -> None:
    levels_v = [Limits().supply_low_running_v + off_v for off_v in ([-0.1] * 15 + [0.1] * 5) * 3]
    roll = [
        Firing(n, 1, n / 10, ANSWERED, supply_before_v=v, supply_low_v=v, speed_rpm=800.0)
        for n, v in enumerate(levels_v)
    ]
    (flag,) = raised(supply, roll)
    assert (flag.kind, flag.start_s, flag.end_s) == (Kind.SUPPLY_LOW, 0.0, None)


def dwell(book: FlagBook) -> DwellWatch:
    return DwellWatch(book, Limits(), 6)


def test_a_charge_is_compared_with_those_of_its_own_speed_only() -> None:
    at_1000 = [Firing(n, 1, n / 10, ANSWERED, dwell_ms=2.0, speed_rpm=1000.0) for n in range(12)]
    behind = Firing(13, 1, 1.3, ANSWERED)
    assert raised(dwell, [*at_1000, Firing(12, 1, 1.2, ANSWERED, dwell_ms=1.0, speed_rpm=3000.0), behind]) == ()
    (flag,) = raised(dwell, [*at_1000, Firing(12, 1, 1.2, ANSWERED, dwell_ms=1.0, speed_rpm=1400.0), behind])
    assert (flag.kind, flag.start_s) == (Kind.DWELL_SHORT, 1.2)


def injector(book: FlagBook) -> InjectorWatch:
    """One that saw a pulse before the first turn."""
    watch = InjectorWatch(book, Limits())
    watch.pulse(1, -0.05)
    return watch


@pytest.mark.parametrize(("misses", "severity"), [(2, Severity.INFO), (3, Severity.FAULT)])
def test_an_injector_silent_after_three_misses_was_given_up_and_after_two_was_not(
    misses: int, severity: Severity
) -> None:
    became = [Became.UNACKNOWLEDGED] * misses + [ANSWERED] * 2
    (flag,) = raised(injector, [Firing(n, 1, n / 10, one) for n, one in enumerate(became)])
    assert (flag.kind, flag.severity) == (Kind.INJECTOR_OFF, severity)


def test_nobody_can_say_that_an_injector_was_silent_where_samples_were_lost() -> None:
    assert raised(injector, [Firing(n, 1, n / 10, Became.UNOBSERVED) for n in range(10)]) == ()


@pytest.mark.parametrize(("width_ms", "flags"), [(0.26, 0), (0.31, 1)])
def test_answers_that_differ_by_less_than_a_tenth_of_a_millisecond_do_not_drift(width_ms: float, flags: int) -> None:
    widths = {1: 0.2, 2: 0.2, 3: width_ms}
    roll = [Firing(n, n % 3 + 1, n / 10, ANSWERED, acknowledgement_width_ms=widths[n % 3 + 1]) for n in range(36)]
    assert [flag.kind for flag in raised(DriftWatch, roll)] == [Kind.ACKNOWLEDGEMENT_DRIFT] * flags
