"""What a slow terminal does to the analysis: `python -m tests.bench.slow_terminal [SECONDS]`.

`coilcall watch --record` over the simulated engine, 4 inputs at 1 MS/s, on a pseudo-terminal that is read at once, at
2 kB/s, or not at all. Told is how much of what the engine gave meanwhile was recorded and analysed by then.
"""

import os
import pty
import sqlite3
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from threading import Event, Thread

RATE_HZ = 1_000_000
ADDRESS = f"simulated:?cylinders=6&rate={RATE_HZ}&inputs=supply,control1,acknowledgement,ground&pace=1"
BYTES_A_SAMPLE = 4 * 2
BYTES_A_STEP, STEP_S = 200, 0.1


def at_once(terminal: int, stop: Event) -> None:
    """Read as fast as it comes."""
    while not stop.is_set() and os.read(terminal, 65536):
        pass


def slowly(terminal: int, stop: Event) -> None:
    """Read 2 kB a second."""
    while not stop.wait(STEP_S):
        os.read(terminal, BYTES_A_STEP)


def not_at_all(_: int, stop: Event) -> None:
    """Let it stand."""
    stop.wait()


def measure(read: Callable[[int, Event], None], seconds: float) -> tuple[float, float, float, int]:
    """Seconds that passed, were recorded and analysed in that time, and samples lost in all."""
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "kept"
        lead, follow = pty.openpty()
        termios.tcsetwinsize(follow, (40, 120))
        program = [
            sys.executable,
            "-c",
            "from monitor.cli import main; main()",
            "watch",
            ADDRESS,
            "--record",
            str(kept),
        ]
        process = subprocess.Popen(
            program, stdin=follow, stdout=follow, stderr=follow, env=os.environ | {"TERM": "xterm"}
        )
        os.close(follow)
        seen = b""
        while b"RUNNING" not in seen:
            seen += os.read(lead, 65536)
        stop = Event()
        reader = Thread(target=read, args=(lead, stop))
        began, recorded, analysed = time.monotonic(), _recorded_s(kept), _analysed_s(kept)
        reader.start()
        time.sleep(seconds)
        passed, recorded, analysed = (
            time.monotonic() - began,
            _recorded_s(kept) - recorded,
            _analysed_s(kept) - analysed,
        )
        stop.set()
        os.write(lead, b"q")
        with suppress(OSError):
            at_once(lead, Event())
        reader.join()
        process.wait()
        os.close(lead)
        with closing(sqlite3.connect(kept / "ledger.sqlite")) as book:
            lost = book.execute("SELECT lost_samples FROM coverage").fetchone()[0]
        return passed, recorded, analysed, int(lost)


def _recorded_s(kept: Path) -> float:
    return sum(path.stat().st_size for path in kept.glob("samples-*.arrow")) / BYTES_A_SAMPLE / RATE_HZ


def _analysed_s(kept: Path) -> float:
    with closing(sqlite3.connect(kept / "ledger.sqlite")) as book:
        return float(book.execute("SELECT max(time_s) FROM firings").fetchone()[0] or 0.0)


def main(seconds: float) -> None:
    """Print the table."""
    print("| the terminal is read | passed s | recorded s | analysed s | samples lost |\n|---|---:|---:|---:|---:|")
    for name, read in (("at once", at_once), ("at 2 kB/s", slowly), ("not at all", not_at_all)):
        passed, recorded, analysed, lost = measure(read, seconds)
        print(f"| {name} | {passed:.1f} | {recorded:.1f} | {analysed:.1f} | {lost} |", flush=True)


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 30.0)
