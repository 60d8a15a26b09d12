"""How fast a recording is analysed: `python -m tests.bench.speed`.

Records a simulated engine once (1 MS/s, 3 inputs, int16), then analyses it from the page cache with everything on, and
lets a C-backed general library look for the edges of one input alone, with two thresholds.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from skimage.filters import apply_hysteresis_threshold

from acquire.recording import RecordingWriter
from drivers.files.recording import RecordingSource
from drivers.simulated.faults import Fault
from drivers.simulated.scenario import constant
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.setup import parse_setup

ROUNDS = 5


def record(folder: Path, duration_s: float, rate_hz: float) -> None:
    """Write the recording that is analysed."""
    faults = (Fault("no-answer", 4, 0.01),)
    engine = SimulatedEngine(
        scenario=constant(800.0), faults=faults, sample_rate_hz=rate_hz, duration_s=duration_s, noise_v=0.01
    )
    info = engine.open()
    writer = RecordingWriter(folder, info)
    for block in engine.blocks():
        writer.write(block)
    writer.close()


def analyse(folder: Path) -> int:
    """Analyse all of it; the samples of all inputs."""
    source = RecordingSource(folder)
    info = source.open()
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "bench"), info)
    samples = 0
    for block in source.blocks():
        analyzer.feed(block)
        samples += block.counts.size
    analyzer.finish()
    source.close()
    return samples


def bare(line: "np.ndarray[tuple[int], np.dtype[np.int16]]") -> int:
    """Find the edges of one input with two thresholds and nothing else."""
    mask = apply_hysteresis_threshold(line, 6000, 10000)
    np.flatnonzero(mask[1:] != mask[:-1])
    return line.size


def read_line(folder: Path) -> "np.ndarray[tuple[int], np.dtype[np.int16]]":
    """The acknowledgement line in one piece."""
    source = RecordingSource(folder)
    source.open()
    line = np.concatenate([block.counts[2] for block in source.blocks()])
    source.close()
    return line


def best(work: Callable[[], int]) -> tuple[float, float]:
    """Samples a second of wall time and of processor time, the best of a few rounds."""
    rates = []
    for _ in range(ROUNDS):
        wall, used = time.perf_counter(), time.process_time()
        samples = work()
        rates.append((samples / (time.perf_counter() - wall), samples / (time.process_time() - used)))
    return max(rate for rate, _ in rates), max(rate for _, rate in rates)


def main(duration_s: float, rate_hz: float) -> None:
    """Print the figures, in Markdown."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "recording"
        record(folder, duration_s, rate_hz)
        ours, ours_cpu = best(lambda: analyse(folder))
        line = read_line(folder)
        theirs, theirs_cpu = best(lambda: bare(line))
    print(f"{duration_s:g} s, 3 inputs at {rate_hz:g} samples/s, int16, six cylinders at 800 rpm, best of {ROUNDS}\n")
    print("| what | M samples/s (wall) | M samples/s (processor) |")
    print("| --- | ---: | ---: |")
    print(f"| analysis of 3 inputs, everything on | {ours / 1e6:.0f} | {ours_cpu / 1e6:.0f} |")
    print(f"| bare two-threshold search of 1 input, scikit-image | {theirs / 1e6:.0f} | {theirs_cpu / 1e6:.0f} |")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--duration", type=float, default=60.0, help="seconds")
    parser.add_argument("--rate", type=float, default=1e6, help="samples a second")
    chosen = parser.parse_args()
    main(chosen.duration, chosen.rate)
