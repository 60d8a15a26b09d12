"""How fast a board is read over a pseudo-terminal: python -m tests.bench.serial_speed [SECONDS]

Frames as fast as they are taken, frames at 300 kS/s of 4 inputs, lines at 20 kS/s of 3. What sends is another process,
so the share of a core is that of reading alone: port, decoding, and a copy of every sample as the ring makes it.
"""

import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tests.drivers.serial_board.pty_board import compiled, plugged_in, source_of

FRAMES_HZ, LINES_HZ = 300_000, 20_000
PER_FRAME = 256
STEP_S = 0.005


def pace(path: str, bytes_per_s: float) -> None:
    """Write a file to stdout at a pace."""
    data = memoryview(Path(path).read_bytes())
    began_s, done = time.monotonic(), 0
    while done < len(data):
        due = min(int((time.monotonic() - began_s) * bytes_per_s), len(data))
        while done < due:
            done += os.write(sys.stdout.fileno(), data[done:due])
        time.sleep(STEP_S)


def measure(what: str, options: str, command: Sequence[str | Path], samples: int, stdin: bytes | None = None) -> None:
    """Read so many samples of what a command sends, and say how fast, with how much of a core, and what was missing."""
    opened = threading.Event()
    with plugged_in() as board:
        source = source_of(f"serial:{board.path}?{options}", opened)
        sender = threading.Thread(target=_send, args=(command, board.end, stdin, opened))
        sender.start()
        info = source.open()
        wall_s, cpu_s, came, end = time.perf_counter(), time.process_time(), 0, 0
        kept = np.empty((len(info.channels), 1 << 18), info.dtype)
        for block in source.blocks():
            kept[:, : block.samples] = block.counts
            came, end = came + block.samples, block.end_index
            if end >= samples:
                break
        wall_s, cpu_s = time.perf_counter() - wall_s, time.process_time() - cpu_s
        ppm = source.clock_error_ppm
        source.close()
        sender.join()
    clock = "" if ppm is None or abs(ppm) > 1e5 else f", board clock {ppm:+.0f} ppm"
    print(
        f"{what}: {came} samples of {len(info.channels)} inputs in {wall_s:.2f} s = {came / wall_s / 1e3:.0f} kS/s, "
        f"{cpu_s / wall_s:.0%} of a core, {end - came} missing{clock}"
    )


def _send(command: Sequence[str | Path], end: int, stdin: bytes | None, opened: threading.Event) -> None:
    opened.wait()
    os.set_blocking(end, True)
    subprocess.run(command, input=stdin, stdout=end, check=True)


def main(seconds: float = 10.0) -> None:
    """Measure all three."""
    counts = np.random.default_rng(1).normal(0, 3000, (131_072, 4)).astype("<i2")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        program = compiled(folder)
        encode: list[str | Path] = [program, "4", str(FRAMES_HZ), str(PER_FRAME)]
        rounds = max(int(seconds * FRAMES_HZ / len(counts)), 1)
        whole = rounds * len(counts)
        measure("frames, fastest", "baud=4000000", [*encode, str(rounds * 4)], whole * 4, counts.tobytes())
        frames = subprocess.run([*encode, str(rounds)], input=counts.tobytes(), stdout=subprocess.PIPE, check=True)
        measure("frames, paced", "baud=4000000", _paced(folder / "frames", frames.stdout, whole / FRAMES_HZ), whole)
        rows = (np.abs(counts[: int(LINES_HZ * seconds), :3]) % 4096).tolist()
        text = "".join(f"{a},{b},{c}\n" for a, b, c in [[0, 0, 0], *rows]).encode()
        lines = f"dialect=lines&rate={LINES_HZ}&bits=12&range_v=3.3"
        measure("lines, paced", lines, _paced(folder / "lines", text, len(rows) / LINES_HZ), len(rows))
        (folder / "lines").write_bytes(text * 10)
        measure("lines, fastest", lines, ["cat", folder / "lines"], len(rows) * 10)


def _paced(path: Path, data: bytes, seconds: float) -> list[str | Path]:
    path.write_bytes(data)
    return [sys.executable, "-m", "tests.bench.serial_speed", "pace", path, str(len(data) / seconds)]


if __name__ == "__main__":
    if sys.argv[1:2] == ["pace"]:
        pace(sys.argv[2], float(sys.argv[3]))
    else:
        main(*map(float, sys.argv[1:]))
