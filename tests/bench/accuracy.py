"""Every hookup, scenario, timing, sample rate and noise against the truth: `python -m tests.bench.accuracy`.

Prints one row per hookup, in Markdown. With --firings N it goes on until about N firings were judged.
"""

import argparse
import itertools
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any

from drivers.simulated.faults import Fault
from drivers.simulated.model import Acknowledgement, Advance, EngineModel
from drivers.simulated.scenario import Scenario, constant, named
from drivers.simulated.source import SimulatedEngine
from tests.monitor.engines import ORDERS, Score, all_leads, analyse, score

FAULT_SHARE = 0.001


@dataclass(frozen=True)
class Hookup:
    """An engine and the wires that are connected to it."""

    name: str
    cylinders: int
    inputs: tuple[str, ...]
    engine: dict[str, Any] = field(default_factory=dict)
    by_name: bool = True

    @property
    def sees_calls(self) -> bool:
        """Whether a control is connected."""
        return any(one.startswith("control") for one in self.inputs)


def _controls(*cylinders: int) -> tuple[str, ...]:
    return tuple(f"control{n}" for n in cylinders)


def _lines(count: int) -> tuple[str, ...]:
    return tuple(f"acknowledgement{n}" for n in range(1, count + 1))


LINE, THREE = ("acknowledgement",), ("supply", "control1", "acknowledgement")
BANKS = {"lines": ((1, 4, 6, 7), (8, 3, 5, 2))}
UNEVEN = {"firing_order": (1, 4, 2, 5, 3, 6), "firing_angles_deg": (0, 150, 240, 390, 480, 630)}
EACH = {"lines": ((1,), (2,), (3,), (4,))}
HOOKUPS = (
    *(Hookup(f"one control, shared line, {n} cylinders", n, THREE) for n in (1, 3, 4, 5, 6, 8, 12)),
    *(Hookup(f"all controls, shared line, {n} cylinders", n, all_leads(n)) for n in (3, 4, 6, 8, 12)),
    Hookup("two controls, shared line, 6", 6, ("supply", *_controls(1, 3), *LINE)),
    Hookup("all controls but one, shared line, 6", 6, ("supply", *_controls(2, 3, 4, 5, 6), *LINE)),
    Hookup("one control, two lines, 8", 8, ("supply", "control1", *_lines(2)), BANKS),
    Hookup("all controls, two lines, 8", 8, ("supply", *_controls(*range(1, 9)), *_lines(2)), BANKS),
    Hookup("all controls, a line each, 4", 4, ("supply", *_controls(1, 2, 3, 4), *_lines(4)), EACH),
    Hookup("no control, a line each, 4", 4, ("supply", *_lines(4)), EACH),
    Hookup("all controls, no line, 4", 4, ("supply", *_controls(1, 2, 3, 4))),
    Hookup("shared line only, 6 (by place)", 6, ("supply", *LINE), by_name=False),
    Hookup("waste spark, one control, shared line, 4", 4, THREE, {"sparks_per_cycle": 2}),
    Hookup(
        "waste spark, all controls, shared line, 6", 6, ("supply", *_controls(1, 5, 3), *LINE), {"sparks_per_cycle": 2}
    ),
    Hookup("uneven angles, one control, shared line, 6", 6, THREE, UNEVEN),
    Hookup("uneven angles, all controls, shared line, 6", 6, all_leads(6), UNEVEN),
    Hookup("two-stroke, one control, shared line, 3", 3, THREE, {"strokes": 2}),
)
SCENARIOS: dict[str, Scenario] = {
    "idle": constant(800.0),
    "cruise": named("cruise"),
    "fast": constant(5000.0),
    "drive": named("cold-start-drive"),
}
TIMINGS = ("during-charge", "at-spark")
MEASURED = ((20_000.0, 0.005), (50_000.0, 0.05), (100_000.0, 0.02), (1_000_000.0, 0.02))
"""Sample rates with the noise at the input in volts RMS."""


@dataclass(frozen=True)
class Run:
    """One recording to be judged."""

    hookup: Hookup
    scenario: str
    timing: str
    rate_hz: float
    noise_v: float
    duration_s: float
    seed: int

    def score(self) -> Score:
        """Draw it, analyse it, hold it against the truth."""
        hookup = self.hookup
        settings = {"firing_order": ORDERS[hookup.cylinders], **hookup.engine}
        model = EngineModel(
            hookup.cylinders,
            **settings,
            acknowledgement=Acknowledgement(self.timing),
            advance=Advance(step_deg=10.0 * (self.seed % 2)),
            repeated_sparks=2 * (self.seed % 3 == 0),
        )
        engine = SimulatedEngine(
            model,
            SCENARIOS[self.scenario],
            tuple(_faults(hookup)),
            inputs=hookup.inputs,
            sample_rate_hz=self.rate_hz,
            noise_v=self.noise_v,
            duration_s=self.duration_s,
            seed=self.seed,
        )
        return score(analyse(engine).firings, engine.truth(), by_name=hookup.by_name)


def _faults(hookup: Hookup) -> Iterator[Fault]:
    """Faults at 0.1 % of the turns in all: missing answers, and missing calls where the call would be seen."""
    for cylinder in range(1, hookup.cylinders + 1):
        has_control = f"control{cylinder}" in hookup.inputs
        share = FAULT_SHARE / 2 if has_control else FAULT_SHARE
        yield Fault("no-answer", cylinder, share)
        if has_control:
            yield Fault("no-call", cylinder, share)


def runs(firings: int) -> Iterator[Run]:
    """Runs over the whole matrix, each hookup with about its share of the firings."""
    seeds = itertools.count(1)
    matrix = list(itertools.product(SCENARIOS, TIMINGS, MEASURED))
    for hookup in HOOKUPS:
        each = firings / len(HOOKUPS) / len(matrix)
        for scenario, timing, (rate_hz, noise_v) in matrix:
            per_s = {"idle": 6.7, "cruise": 21.0, "fast": 41.7, "drive": 16.7}[scenario] * hookup.cylinders
            duration_s = min(max(each / per_s, 3.0), 125.0 if rate_hz < 1e6 else 6.0)
            if scenario == "drive":
                # Its start alone is no drive: whole, or not at all in a short campaign or at the highest rate.
                duration_s = 125.0
                if rate_hz > 60_000.0 or each * 40 < per_s * duration_s:
                    continue
            yield Run(hookup, scenario, timing, rate_hz, noise_v, duration_s, next(seeds))


def main(firings: int, *, verbose: bool = False) -> int:
    """Run the campaign and print the table; 1 if anything was missed, invented or misplaced."""
    chosen = list(runs(firings))
    totals = {hookup.name: Score() for hookup in HOOKUPS}
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for run, result in zip(chosen, pool.map(Run.score, chosen, chunksize=4), strict=True):
            totals[run.hookup.name] += result
            if verbose and result.is_wrong:
                print(replace(run, hookup=replace(run.hookup, inputs=())), result, file=sys.stderr)
    whole = sum(totals.values(), Score())
    print("| hookup | firings | faults | found | missed | invented | wrong cylinder | unobserved |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name, one in {**totals, "**all**": whole}.items():
        counts = (one.firings, one.faults, one.found, one.missed, one.invented, one.misplaced)
        print(f"| {name} | " + " | ".join(f"{count:,}" for count in counts) + f" | {one.unobserved_share:.4%} |")
    return int(whole.is_wrong)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--firings", type=int, default=1_000_000)
    parser.add_argument("--verbose", action="store_true", help="name the runs in which something went wrong")
    chosen = parser.parse_args()
    sys.exit(main(chosen.firings, verbose=chosen.verbose))
