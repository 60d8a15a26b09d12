"""Every fault of the simulated engine, from its samples to the first suspect."""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.simulated.faults import KINDS, Fault
from drivers.simulated.model import Acknowledgement, EngineModel
from drivers.simulated.scenario import Knot, Scenario, constant, named
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.findings.finding import Finding
from monitor.setup import Limits, parse_setup
from tests.monitor.engines import ORDERS, THREE_LEADS, all_leads, analyse

RPM = 3000.0
CLEARED = "not the primary side"
BRANCH_4 = "the branch of coil 4"
COIL_4 = "feed, ground or control wire of coil 4 at its own plug"
COIL_4_UNSEEN = "feed, ground or control wire of coil 4, coil 4 itself, or a controller that does not call it"
SHARED_FEED = "resistance in the feed that all coils share"
HELD = "short to ground, a coil that keeps pulling, or its pull-up"

CASES: list[tuple[tuple[Fault, ...], str, str]] = [
    ((), CLEARED, CLEARED),
    ((Fault("glitch", probability=0.05),), CLEARED, CLEARED),
    ((Fault("no-answer", 4, 0.1),), BRANCH_4, BRANCH_4),
    ((Fault("no-answer", 4),), BRANCH_4, BRANCH_4),
    ((Fault("no-answer", 1, 0.1),), "the branch of coil 1", "the branch of coil 1"),
    ((Fault("no-answer", 4, 0.1, value="coil"),), COIL_4_UNSEEN, COIL_4),
    ((Fault("no-call", 4, 0.1),), COIL_4_UNSEEN, "the control wire of coil 4"),
    ((Fault("no-answer", 4, start_s=1.0, value="coil"), Fault("fail-safe", 4)), COIL_4_UNSEEN, COIL_4),
    ((Fault("no-answer", 4, start_s=1.0), Fault("fail-safe", 4)), COIL_4_UNSEEN, BRANCH_4),
    ((Fault("feed-dropout", probability=0.02),), "the feed that all coils share", "the feed that all coils share"),
    (
        (Fault("feed-dropout", start_s=1.0, end_s=1.5),),
        "the feed that all coils share",
        "the feed that all coils share",
    ),
    ((Fault("feed-dropout", 4, start_s=1.0),), COIL_4_UNSEEN, COIL_4),
    ((Fault("feed-resistance"),), SHARED_FEED, SHARED_FEED),
    ((Fault("feed-resistance", start_s=1.0, end_s=2.0),), SHARED_FEED, SHARED_FEED),
    ((Fault("feed-resistance", 1, value=0.6),), "the feed of coil 1 alone", "the feed of coil 1 alone"),
    ((Fault("ground-resistance"),), "the ground point that the coils share", "the ground point that the coils share"),
    ((Fault("ground-resistance", 1),), "ground wire or ground pin of coil 1", "ground wire or ground pin of coil 1"),
    ((Fault("line-held-low", start_s=1.0, end_s=1.6),), HELD, HELD),
    ((Fault("line-open", start_s=1.0),), "the splice", "the splice"),
    ((Fault("line-open", start_s=1.0, end_s=1.6),), "the splice", "the splice"),
    ((Fault("line-open", start_s=1.0, value="controller"),), HELD, HELD),
    ((Fault("weak-pull-up"),), "pull-up of the acknowledgement line", "pull-up of the acknowledgement line"),
    ((Fault("weak-pull-down", 4),), "the answer output of coil 4", "the answer output of coil 4"),
    ((Fault("weak-pull-down"),), "the coils' shared ground, or the common", "the coils' shared ground, or the common"),
    ((Fault("lost-samples", start_s=1.0, end_s=1.2),), "the measurement", "the measurement"),
    ((Fault("no-answer", probability=0.1),), "a loose contact in what all", "a loose contact in what all"),
    ((Fault("no-answer", 4, 0.1), Fault("no-answer", 2, 0.1)), "cylinders 2 and 4 have", "cylinders 2 and 4 have"),
    ((Fault("weak-control", 1),), "the control wire of coil 1", "the control wire of coil 1"),
]
"""Faults, the first suspect with feed, one control and the line connected, and with every control."""


def diagnose(
    *faults: Fault,
    inputs: tuple[str, ...] = THREE_LEADS,
    rpm: float | Scenario = RPM,
    model: EngineModel | None = None,
    duration_s: float = 2.6,
    timing: str = "during-charge",
    cuts: tuple[int, ...] = (),
) -> tuple[Finding, ...]:
    extra = ("ground",) if any(fault.kind == "ground-resistance" for fault in faults) else ()
    source = SimulatedEngine(
        model or EngineModel(6, ORDERS[6], acknowledgement=Acknowledgement(timing)),
        rpm if isinstance(rpm, Scenario) else constant(rpm),
        faults,
        inputs=inputs + extra,
        sample_rate_hz=20_000.0,
        duration_s=duration_s,
    )
    return analyse(source, cuts).analyzer.standing.findings()


def watched(source: SimulatedEngine) -> Iterator[tuple[Finding, ...]]:
    """What a screen is told after every block."""
    info = source.open()
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info)
    for block in source.blocks():
        analyzer.feed(block)
        yield analyzer.snapshot().findings


def name(case: object) -> str | None:
    if not isinstance(case, tuple):
        return ""
    return " and ".join(f"{fault.kind}-{fault.cylinder or 'all'}" for fault in case) or "healthy"


def leads_to(suspect: str, found: tuple[Finding, ...]) -> None:
    assert suspect in found[0].suspect, found
    assert sum(finding.confidence == "firm" for finding in found) <= 1, found


@pytest.mark.parametrize(("faults", "few", "every"), CASES, ids=name)
def test_each_fault_leads_to_its_suspect(faults: tuple[Fault, ...], few: str, every: str) -> None:
    leads_to(few, diagnose(*faults))
    leads_to(every, diagnose(*faults, inputs=all_leads(6)))


@pytest.mark.parametrize(("faults", "every"), [(faults, every) for faults, _, every in CASES[::3]], ids=name)
def test_each_fault_leads_to_its_suspect_where_coils_answer_at_the_spark(faults: tuple[Fault, ...], every: str) -> None:
    leads_to(every, diagnose(*faults, inputs=all_leads(6), timing="at-spark"))


def test_stray_answers_are_laid_on_interference_where_every_call_is_seen() -> None:
    found = diagnose(Fault("stray-answer", probability=0.03), inputs=all_leads(6))
    assert "interference on the acknowledgement line on in8" in found[0].suspect


def test_no_kind_of_fault_is_left_out() -> None:
    elsewhere = {"stray-answer", "dwell", "no-injection"}
    assert {fault.kind for faults, _, _ in CASES for fault in faults} | elsewhere == set(KINDS)


def test_a_disturbed_dwell_is_laid_on_the_call() -> None:
    found = diagnose(Fault("dwell", 4), inputs=all_leads(6))
    assert "the control wire of coil 4" in found[0].suspect
    assert "charged for" in found[0].because


def test_six_misses_and_then_no_calls_are_one_story() -> None:
    (finding,) = diagnose(
        Fault("no-answer", 4, start_s=1.0, value="coil"), Fault("fail-safe", 4), inputs=(*all_leads(6), "injector4")
    )
    assert "after 6 misses in a row from 1.0 s on the controller stopped calling coil 4" in finding.because
    assert "did not answer in 6 of" in finding.because
    assert "Its fuel was cut as well" in finding.because


@pytest.mark.parametrize("inputs", [THREE_LEADS, all_leads(6)], ids=["three leads", "all controls"])
def test_five_firings_clear_nobody(inputs: tuple[str, ...]) -> None:
    assert diagnose(inputs=inputs, duration_s=0.22) == ()


def test_a_clean_while_is_cleared_more_firmly_than_a_clean_moment() -> None:
    moment, longer = diagnose(), diagnose(duration_s=9.0)
    assert (moment[0].confidence, longer[0].confidence) == ("possible", "likely")


@pytest.mark.parametrize("rpm", [700.0, 3000.0, 5500.0])
@pytest.mark.parametrize("value", ["branch", "coil"])
def test_where_the_answer_is_lost_shows_at_every_speed(rpm: float, value: str) -> None:
    (finding,) = diagnose(Fault("no-answer", 4, 0.1, value=value), inputs=all_leads(6), rpm=rpm, duration_s=4.0)
    assert (BRANCH_4 if value == "branch" else COIL_4) in finding.suspect


def test_where_charges_overlap_nothing_is_claimed_about_the_current() -> None:
    """Charges of 3 ms overlap above 5000 rpm on an eight: 120000 / (5000 * 8) ms = 3 ms from turn to turn."""
    model = EngineModel(8, ORDERS[8], feed_resistance_ohm=0.03)
    found = diagnose(Fault("no-answer", 4, 0.1, value="coil"), inputs=all_leads(8), model=model, rpm=7500.0)
    assert "coil 4, its plug (feed, ground, control), or its branch" in found[0].suspect


def test_without_the_feed_connected_coil_and_branch_are_not_told_apart() -> None:
    (finding,) = diagnose(Fault("no-answer", 4, 0.1), inputs=all_leads(6)[1:])
    assert "coil 4, its plug (feed, ground, control), or its branch" in finding.suspect
    assert "Connect the coils' feed or a current clamp" in finding.next


@pytest.mark.parametrize(("value", "suspect"), [("branch", BRANCH_4), ("coil", COIL_4)])
def test_a_current_clamp_serves_as_well_as_the_feed(value: str, suspect: str) -> None:
    inputs = (*all_leads(6)[1:], "current")
    (finding,) = diagnose(Fault("no-answer", 4, 0.1, value=value), inputs=inputs)
    assert suspect in finding.suspect
    assert " A in the missed turns" in finding.because


def test_of_two_lines_the_silent_one_is_named() -> None:
    model = EngineModel(8, ORDERS[8], lines=((1, 4, 6, 7), (2, 3, 5, 8)))
    inputs = ("supply", *(f"control{n}" for n in range(1, 9)), "acknowledgement", "acknowledgement2")
    faults = [Fault("line-open", n, start_s=1.0) for n in (2, 3, 5, 8)]
    (finding,) = diagnose(*faults, inputs=inputs, model=model)
    assert "the splice of the acknowledgement line on in11" in finding.suspect
    assert "cylinders 2, 3, 5 and 8" in finding.because


def test_a_line_of_one_coil_is_not_told_from_the_coil() -> None:
    model = EngineModel(3, ORDERS[3], lines=((1,), (2,), (3,)))
    inputs = ("supply", "control1", "control2", "control3", "acknowledgement", "acknowledgement2", "acknowledgement3")
    (finding,) = diagnose(Fault("no-answer", 2, start_s=1.0), inputs=inputs, model=model)
    assert "the branch of coil 2" in finding.suspect


def test_a_coil_of_two_cylinders_is_one_suspect() -> None:
    model = EngineModel(4, ORDERS[4], sparks_per_cycle=2)
    (finding,) = diagnose(
        Fault("no-answer", 1, 0.1), inputs=("supply", "control1", "control2", "acknowledgement"), model=model
    )
    assert "the branch of the coil of cylinders 1 and 4" in finding.suspect


def test_a_fault_that_comes_with_speed_is_told_with_the_speed() -> None:
    drive = Scenario((Knot(0.0, 1500.0), Knot(5.0, 1500.0), Knot(6.0, 4500.0), Knot(12.0, 4500.0)))
    found = diagnose(Fault("no-answer", 4, 0.3, start_s=6.0), rpm=drive, duration_s=12.0)
    assert "It comes only above" in found[0].because


@pytest.mark.parametrize("scenario", ["crank-and-idle", "cold-start-drive"])
def test_a_healthy_drive_blames_nothing(scenario: str) -> None:
    found = diagnose(rpm=named(scenario), duration_s=25.0)
    assert [CLEARED in finding.suspect for finding in found] == [True]


FAULTY = (
    Fault("no-answer", 4, 0.1),
    Fault("feed-dropout", probability=0.02),
    Fault("line-open", start_s=1.0, end_s=1.5),
)


@settings(max_examples=5)
@given(st.lists(st.integers(1, 40_000), max_size=20))
def test_findings_are_the_same_wherever_the_blocks_are_cut(cuts: list[int]) -> None:
    whole = diagnose(*FAULTY, duration_s=2.0)
    assert diagnose(*FAULTY, duration_s=2.0, cuts=tuple(cuts)) == whole


def test_a_screen_sees_the_finding_firm_up_as_misses_come() -> None:
    source = SimulatedEngine(
        EngineModel(6, ORDERS[6]), constant(RPM), (Fault("no-answer", 4, start_s=1.0),), sample_rate_hz=20_000.0,
        duration_s=3.0, block_samples=200, inputs=THREE_LEADS,
    )  # fmt: skip
    sureness: list[str] = []
    for found in watched(source):
        if found and found[0].confidence not in sureness:
            assert "coil 4" in found[0].suspect
            sureness.append(found[0].confidence)
    assert sureness == ["possible", "likely", "firm"]


def test_a_screen_that_asks_again_is_given_the_same_findings_without_another_thought() -> None:
    source = SimulatedEngine(
        EngineModel(6, ORDERS[6]), constant(RPM), (Fault("no-answer", 4, 0.05),), sample_rate_hz=20_000.0,
        duration_s=8.0, block_samples=20, inputs=THREE_LEADS,
    )  # fmt: skip
    asked = [id(found) for found in watched(source) if found]
    assert len(set(asked)) < len(asked) / 5  # a millisecond a block, and a turn each 25 ms


def test_a_finding_counts_the_turns_that_the_screen_counts() -> None:
    source = SimulatedEngine(
        EngineModel(6, ORDERS[6]), constant(RPM), (Fault("no-answer", 4, 0.2),), sample_rate_hz=20_000.0,
        duration_s=20.0, inputs=THREE_LEADS,
    )  # fmt: skip
    info = source.open()
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info)
    for block in source.blocks():
        analyzer.feed(block)
        now = analyzer.snapshot()
        if now.findings:
            missed = next(view.counts.missed for view in now.cylinders if view.cylinder == 4)
            assert f"cylinder 4 did not answer in {missed.misses} of {missed.turns} turns" in now.findings[0].because


def test_limits_of_the_set_up_stand_in_the_advice() -> None:
    assert Limits().ground_rise_v == 0.3
    (finding,) = diagnose(Fault("no-answer", 4, 0.1, value="coil"), inputs=all_leads(6))
    assert "ground within 0.3 V of its negative" in finding.next
