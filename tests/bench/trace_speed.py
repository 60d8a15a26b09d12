"""What the trace view costs: `python -m tests.bench.trace_speed`.

Takes blocks of 4 inputs at 1 MS/s, as the ring hands them out, into a store that is full; then draws what it keeps.
"""

import time
from dataclasses import replace

import numpy as np

from acquire.block import SampleBlock
from drivers.simulated.scenario import constant
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Step
from monitor.dashboard.trace_lines import Looked, trace_lines
from monitor.flags import Flag, Kind, Severity
from monitor.hookup import Hookup
from monitor.setup import parse_setup
from monitor.trace.store import TraceStore
from monitor.trace.view import View

RATE_HZ, SECONDS, BLOCK = 1_000_000, 20, 20_000
INPUTS = ("supply", "control1", "control2", "acknowledgement")


def main() -> None:
    """Print the figures, in Markdown."""
    engine = SimulatedEngine(scenario=constant(800.0), inputs=INPUTS, sample_rate_hz=RATE_HZ, duration_s=1.0)
    info = engine.open()
    second = np.concatenate([one.counts for one in engine.blocks()], axis=1)
    store = TraceStore(replace(info, total_samples=None))
    spent = flagged = 0.0
    for number in range(SECONDS * RATE_HZ // BLOCK):
        place = number * BLOCK % second.shape[1]
        block = SampleBlock(number * BLOCK, second[:, place : place + BLOCK])
        at_s = number * BLOCK / RATE_HZ
        is_flagged = number % 10 == 0
        flag = Flag(number, Kind.SUPPLY_SAG, Severity.WARNING, 1, None, at_s, at_s, 1, "bench")
        began = time.process_time()
        store.take(block, Step((), (flag,) if is_flagged and number >= SECONDS * RATE_HZ // BLOCK // 2 else ()))
        used = time.process_time() - began
        if number >= SECONDS * RATE_HZ // BLOCK // 2:
            flagged += used
        elif number >= SECONDS * RATE_HZ // BLOCK * 9 // 20:
            # The memory is touched for the first time before that.
            spent += used
    print(f"4 inputs at 1 MS/s, int16, blocks of {BLOCK} samples; keeps {store.size / RATE_HZ:.1f} s\n")
    print("| what | share of a core |")
    print("| --- | ---: |")
    print(f"| taking blocks | {spent / (SECONDS / 20):.2%} |")
    print(f"| taking blocks, a flag every 0.2 s | {flagged / (SECONDS / 2):.2%} |")
    hookup = Hookup.of(parse_setup(info.setup_toml or "", "bench"), info)
    for wide in (300_000, store.size):
        view = View(store.end - wide, wide, False, store.end - wide // 2)
        trace_lines(Looked(store, hookup, view), 120, 40)
        began = time.process_time()
        for _ in range(20):
            trace_lines(Looked(store, hookup, view), 120, 40)
        print(f"| drawing {wide / RATE_HZ:.1f} s ten times a second | {(time.process_time() - began) / 2:.2%} |")


if __name__ == "__main__":
    main()
