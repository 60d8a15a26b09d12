import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from drivers.simulated.faults import Fault
from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import Knot, Scenario, constant
from drivers.simulated.source import SimulatedEngine
from monitor.misses import verdict_lines
from monitor.rate_words import rate_in_words
from monitor.rates import Missed, bounds
from monitor.summary import summarize
from monitor.table import print_summary
from tests.monitor.engines import ORDERS, THREE_LEADS, all_leads, analyse

FLARE = Scenario((Knot(0.0, 800.0), Knot(8.0, 800.0), Knot(8.5, 4000.0), Knot(12.0, 4000.0)))


def engine(cylinders: int, *faults: Fault, scenario: Scenario | None = None, sparks: int = 1) -> SimulatedEngine:
    return SimulatedEngine(
        EngineModel(cylinders, ORDERS[cylinders], sparks_per_cycle=sparks),
        scenario or constant(900.0),
        faults,
        inputs=THREE_LEADS if sparks == 1 else ("supply", "control1", "control3", "acknowledgement"),
        sample_rate_hz=20_000.0,
        duration_s=12.0,
    )


@pytest.mark.parametrize(
    ("missed", "words"),
    [
        (Missed(0, 0), "-"),
        (Missed(0, 2300), "< 0.14 %"),
        (Missed(0, 100_000), "< 0.0030 %"),
        (Missed(12, 2300), "0.52 % (0.26–0.91 %)"),
        (Missed(5, 46), "10.9 % (3.62–23.6 %)"),
        (Missed(385, 385), "100.0 % (99.0–100.0 %)"),
    ],
)
def test_a_rate_is_said_with_what_it_may_be(missed: Missed, words: str) -> None:
    assert rate_in_words(missed) == words


@given(st.integers(1, 10**7).flatmap(lambda turns: st.builds(Missed, st.integers(1, turns), st.just(turns))))
def test_bounds_are_never_said_narrower_than_they_are(missed: Missed) -> None:
    said = rate_in_words(missed).partition(" % (")[2].removesuffix(" %)").split("–")
    low, high = bounds(missed)
    assert float(said[0]) <= 100 * low * (1 + 1e-9)
    assert float(said[1]) >= 100 * high * (1 - 1e-9)


def test_without_a_miss_nobody_is_named() -> None:
    assert verdict_lines(analyse(engine(4)).analyzer.standing) == []


def test_the_one_that_misses_is_named_with_the_speed_at_which_it_does() -> None:
    found = analyse(engine(6, Fault("no-answer", 4, 0.3, start_s=8.4), scenario=FLARE)).analyzer.standing
    naming, speed, *more = verdict_lines(found)
    misses = found.cylinders[4].misses
    assert naming == f"Cylinder 4 may be named alone: {misses} of all {misses} misses (more than 90 %)."
    assert speed.startswith("By speed, cylinder 4 misses only above ")
    assert more[-1].startswith("To show a repair, under the same conditions: ")
    assert "turns of cylinder 4 without a miss" in more[-1]


def test_a_fault_that_comes_at_any_speed_is_given_none() -> None:
    lines = verdict_lines(analyse(engine(6, Fault("no-answer", 4, 0.1), scenario=FLARE)).analyzer.standing)
    assert [line for line in lines if line.startswith("By ")] == []


def test_two_that_miss_are_several() -> None:
    lines = verdict_lines(analyse(engine(4, Fault("no-answer", 2, 0.2), Fault("no-answer", 3, 0.2))).analyzer.standing)
    assert lines[0].startswith("Several cylinders, none with more than 90 % of all ")
    assert " on cylinder 2" in lines[0]
    assert " on cylinder 3" in lines[0]
    assert "turns of each cylinder without a miss" in lines[-1]


def test_two_cylinders_on_one_coil_are_named_together() -> None:
    lines = verdict_lines(analyse(engine(4, Fault("no-answer", 3, 0.2), sparks=2)).analyzer.standing)
    assert lines[0].startswith("Cylinders 2 and 3 (one coil) may be named alone: ")


def test_cylinders_that_no_wire_shows_are_not_spoken_for() -> None:
    model = EngineModel(4, ORDERS[4])
    faults = (Fault("no-call", 3, 0.05),)
    some = SimulatedEngine(
        model,
        constant(900.0),
        faults,
        inputs=("control1", "control3", "control4"),
        sample_rate_hz=20_000.0,
        duration_s=12.0,
    )
    standing = analyse(some).analyzer.standing
    (naming, *_) = verdict_lines(standing)
    assert naming.endswith("Not every cylinder was watched.")
    assert standing.revolutions == pytest.approx(900.0 / 60.0 * 12.0, abs=5.0)


def test_the_tables_fit_into_a_hundred_columns() -> None:
    source = SimulatedEngine(
        EngineModel(12, ORDERS[12]),
        constant(3000.0),
        tuple(Fault(kind, n, 0.02) for n in range(1, 13) for kind in ("no-answer", "no-call")),
        inputs=all_leads(12),
        sample_rate_hz=20_000.0,
        duration_s=4.0,
    )
    found = analyse(source)
    for tally in found.analyzer.standing.cylinders.values():
        tally.answers += 10_000_000
        tally.calls += 10_000_000
    paper = io.StringIO()
    summary = summarize(found.analyzer, "drive", found.flags, ())
    print_summary(summary, found.analyzer.standing, Console(file=paper, width=100))
    shown = paper.getvalue()
    assert max(map(len, shown.splitlines())) <= 100
    assert "…" not in shown
    assert "Several cylinders" in " ".join(shown.split())
