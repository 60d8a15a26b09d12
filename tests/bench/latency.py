"""How soon the screen says it: `python -m tests.bench.latency [--starts 20] [--misses 100] [--rate 50000]`.

Start: from the start of the process `coilcall watch` to the first frame whose headline says what became of the turns.
A miss: from the moment at which the source gave the block with the sample that proves it to the frame that counts it.
That sample is the earliest from which the analysis, fed a millisecond at a time, enters the turn as unacknowledged.
"""

import argparse
import re
import tempfile
from bisect import bisect_left
from collections.abc import Hashable, Sequence
from pathlib import Path

import numpy as np

from drivers.address import parse_address
from drivers.simulated.options import engine_from
from monitor.analyzer import Analyzer
from monitor.firing.records import Outcome
from monitor.setup import parse_setup
from tests.bench.sources import told_steps
from tests.bench.terminal import terminal

BUDGETS_S = {"start": 2.0, "miss": 0.15}
VERDICT = re.compile(r"Every (?:observed )?turn acknowledged|CYLINDER \d+ (?:un)?[a-z]+")
COUNT = re.compile(r"(\d+) (?:unacknowledged )?of \d+ turns")
ENGINE = "cylinders=6&order=1-4-2-5-3-6&scenario=idle&fault=no-answer,cylinder=4,probability=0.2,start_s=2"


def has_verdict(screen: str) -> bool:
    """Whether the headline says what became of the turns."""
    return VERDICT.search(screen) is not None


def missed(screen: str) -> int:
    """How many misses the headline counts."""
    found = COUNT.search(screen)
    return int(found[1]) if found else 0


def starts(times: int) -> list[float]:
    """Seconds from the start of the process to the first verdict."""
    found = []
    for _ in range(times):
        with terminal(["watch"], has_verdict) as running:
            running.until(lambda: bool(running.seen) and running.seen[-1][1] is True)
            found.append(running.seen[-1][0] - running.started_s)
    return found


def proofs(query: str, misses: int) -> list[tuple[float, int]]:
    """Of each of the first misses the time of its spark and the end of the millisecond that proves it."""
    engine = engine_from(parse_address(f"simulated:?pace=0&{query}"))
    info = engine.open()
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info)
    found: list[tuple[float, int]] = []
    for block in engine.blocks():
        fired = analyzer.feed(block).firings
        found += [(one.time_s, block.end_index) for one in fired if one.outcome is Outcome.UNACKNOWLEDGED]
        if len(found) >= misses:
            break
    return found[:misses]


def shown(seen: Sequence[tuple[float, Hashable]], count: int) -> float:
    """When the screen first counted so many."""
    return next(at_s for at_s, value in seen if isinstance(value, int) and value >= count)


def delays(misses: int, rate_hz: float) -> tuple[list[float], list[float]]:
    """Seconds from proof to screen, and from the spark that should have been to the proof."""
    query = f"{ENGINE}&rate={rate_hz:.0f}"
    with tempfile.TemporaryDirectory() as scratch:
        told = Path(scratch) / "told"
        with terminal(["watch", f"tests.bench.sources:engine?told={told}&{query}"], missed) as running:
            running.until(lambda: bool(running.seen) and running.seen[-1][1] >= misses, misses * 2.0)  # type: ignore[operator]
        steps = told_steps(told)
    known = proofs(f"{query}&block={round(rate_hz / 1e3)}", misses)
    ends = [step.end_index for step in steps]
    given = [steps[bisect_left(ends, index)].at_s for _, index in known]
    on_screen = [shown(running.seen, count) for count in range(1, misses + 1)]
    return [b - a for a, b in zip(given, on_screen, strict=True)], [index / rate_hz - at_s for at_s, index in known]


def row(what: str, values: Sequence[float], budget_s: float | None = None) -> str:
    """Median, 99th percentile and worst, in Markdown."""
    median, high, worst = np.percentile(values, (50, 99, 100)) * 1e3
    budget = f"{budget_s * 1e3:.0f}" if budget_s else ""
    return f"| {what} | {len(values)} | {median:.0f} | {high:.0f} | {worst:.0f} | {budget} |"


def main(times: int, misses: int, rate_hz: float) -> None:
    """Print the table."""
    print("| what | times | median, ms | p99, ms | worst, ms | budget, ms |\n|---|---:|---:|---:|---:|---:|")
    if times:
        print(row("start to first verdict", starts(times), BUDGETS_S["start"]), flush=True)
    to_screen, to_proof = delays(misses, rate_hz)
    print(row("proof of a miss to the screen", to_screen, BUDGETS_S["miss"]))
    print(row("its spark to the proof", to_proof))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--starts", type=int, default=20)
    parser.add_argument("--misses", type=int, default=100)
    parser.add_argument("--rate", type=float, default=50_000.0)
    chosen = parser.parse_args()
    main(chosen.starts, chosen.misses, chosen.rate)
