"""What is proposed for simulated engines, held against what is connected: `python -m tests.bench.proposal`.

Prints, in Markdown, how many inputs of each role were taken for what, and how surely. Over every hookup and time of
answer, at several speeds, sample rates and noises; `--runs N` takes every so many that about N are left.
"""

import argparse
import itertools
import os
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from drivers.simulated.faults import Fault
from drivers.simulated.model import Acknowledgement, EngineModel
from drivers.simulated.scenario import Scenario, constant, named
from drivers.simulated.source import SimulatedEngine
from monitor.proposal import look_at, propose
from monitor.setup import parse_setup
from tests.bench.accuracy import HOOKUPS, TIMINGS, Hookup
from tests.monitor.engines import ORDERS, all_leads

WHOLE = ("battery", "ground", "current", "injector1", "marker")
"""What may be connected besides."""
SCENARIOS: dict[str, Scenario] = {
    "standing": Scenario(named("cold-start-drive").knots[:1]),
    "start": named("crank-and-idle"),
    "idle": constant(800.0),
    "cruise": named("cruise"),
    "fast": constant(6000.0),
    "snap": named("snap"),
}
MEASURED = ((20_000.0, 0.005, 0.0), (20_000.0, 0.1, 0.0), (50_000.0, 0.05, 0.3), (200_000.0, 0.02, 0.0))
"""Sample rates with noise (RMS) and mains hum (amplitude) at the input, in volts."""
RANGES = (None, 20.0)
FAULTS: tuple[tuple[Fault, ...], ...] = (
    (),
    (Fault("no-answer", 1, 0.2), Fault("feed-dropout", None, 0.02), Fault("glitch", None, 0.05)),
)
HOOKED = (
    *HOOKUPS,
    *(Hookup(f"everything, {n} cylinders", n, (*all_leads(n), *WHOLE)) for n in (4, 6)),
    Hookup("one control, everything else, 8 cylinders", 8, ("supply", "control1", "acknowledgement", *WHOLE)),
    Hookup("battery and one control, 4 cylinders", 4, ("battery", "control1")),
    Hookup("shared line alone, 4 cylinders", 4, ("acknowledgement",)),
)


@dataclass(frozen=True)
class Case:
    """One engine to be looked at."""

    hookup: Hookup
    scenario: str
    timing: str
    measured: tuple[float, float, float]
    range_v: float | None
    faults: tuple[Fault, ...]
    seed: int

    def engine(self) -> SimulatedEngine:
        """Make it."""
        settings = {"firing_order": ORDERS[self.hookup.cylinders], **self.hookup.engine}
        rate_hz, noise_v, hum_v = self.measured
        return SimulatedEngine(
            EngineModel(self.hookup.cylinders, **settings, acknowledgement=Acknowledgement(self.timing)),
            SCENARIOS[self.scenario],
            self.faults,
            inputs=self.hookup.inputs,
            sample_rate_hz=rate_hz,
            noise_v=noise_v,
            hum_v=hum_v,
            input_range_v=self.range_v,
            duration_s=5.0,
            seed=self.seed,
        )

    def outcomes(self) -> Counter[tuple[str, str, str]]:
        """Count (what is connected, what was proposed, how surely)."""
        engine = self.engine()
        look = look_at(engine)
        true = parse_setup(look.info.setup_toml or "", "simulated").channel
        verdicts = propose(look).verdicts
        return Counter(
            (str(was.role), str(one.role or "unknown"), str(one.sureness or "-"))
            for was, one in zip(true, verdicts, strict=True)
        )


def cases() -> list[Case]:
    """The whole matrix."""
    matrix = itertools.product(HOOKED, SCENARIOS, TIMINGS, MEASURED, RANGES, FAULTS)
    return [Case(*one, seed=seed) for seed, one in enumerate(matrix, start=1)]


def wrong(outcomes: Counter[tuple[str, str, str]], sureness: str) -> int:
    """How many inputs were taken for something else, this surely."""
    return sum(n for (was, said, sure), n in outcomes.items() if sure == sureness and was != said)


def table(outcomes: Counter[tuple[str, str, str]]) -> list[str]:
    """One row for each role that is connected."""
    rows = ["| connected | inputs | firm, right | firm, wrong | likely, right | likely, wrong | guess, right | "]
    rows[0] += "guess, wrong | unknown |"
    rows.append("| --- |" + " ---: |" * 8)
    for role in sorted({was for was, _, _ in outcomes}):
        here = Counter({key: n for key, n in outcomes.items() if key[0] == role})
        cells = [here.total()]
        for sure in ("firm", "likely", "guess"):
            cells += [here[role, role, sure], wrong(here, sure)]
        cells.append(here[role, "unknown", "-"])
        rows.append(f"| {role} | " + " | ".join(f"{cell:,}" for cell in cells) + " |")
    return rows


def main(runs: int) -> int:
    """Look at them all and print the table; 1 if anything firm was wrong."""
    everything = cases()
    every = max(1, len(everything) // runs)
    chosen: Sequence[Case] = everything[:: every + (every > 1 and every % 2 == 0)]  # odd: the matrix is even all along
    outcomes: Counter[tuple[str, str, str]] = Counter()
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for case, found in zip(chosen, pool.map(Case.outcomes, chosen, chunksize=4), strict=True):
            outcomes += found
            if wrong(found, "firm") or wrong(found, "likely"):
                shown = {key: n for key, n in found.items() if key[0] != key[1] and key[2] in ("firm", "likely")}
                print(case.hookup.name, case.scenario, case.timing, case.measured, case.range_v, shown, file=sys.stderr)
    print(f"{len(chosen)} engines\n")
    print("\n".join(table(outcomes)))
    return int(wrong(outcomes, "firm") > 0)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10_000)
    sys.exit(main(parser.parse_args().runs))
