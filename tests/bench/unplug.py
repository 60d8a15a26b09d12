"""Takes instruments away from a running `log` and `watch`, in four ways, and says what became of the recordings.

python -m tests.bench.unplug [TIMES [COMMAND]]      # 25 times each way unless said, so 100 under each command
"""

import os
import random
import select
import signal
import sqlite3
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acquire.block import Counts, SampleBlock
from acquire.recording import read_blocks, read_info
from tests.bench.cautioned import cautioned
from tests.drivers.scpi.server import Digitizer, HangUp, Server
from tests.drivers.serial_board import encoding

RATE_HZ = encoding.RATE_MILLIHERTZ // 1000
INPUTS = 3
PACE_S = 0.02
FRAME = 500
LONGEST_S = 40.0
SETUP = """
[engine]
cylinders = 1
firing_order = [1]
[[channel]]
input = "in1"
role = "marker"
[[channel]]
input = "in2"
role = "injector"
cylinder = 1
[[channel]]
input = "in3"
role = "control"
cylinder = 1
"""
ZERO_S = time.monotonic()


def taken() -> int:
    """How many samples have been taken until now."""
    return int((time.monotonic() - ZERO_S) * RATE_HZ)


def samples(first: int, end: int) -> Counts:
    """Samples that tell their own number, in two inputs of 15 bits; the others are 0."""
    number = np.arange(first, end)
    return np.stack([number & 0x7FFF, number >> 15 & 0x7FFF, *[number * 0] * (INPUTS - 2)]).astype(np.int16)


def number_of(block: SampleBlock) -> NDArray[np.int64]:
    """Read each sample's number."""
    low, high = block.counts[:2].astype(np.int64)
    return np.asarray(low + (high << 15), np.int64)


class Board:
    """On a pseudo-terminal that a link leads to; it sends while its port is open. Away, it `is_cut` or silent."""

    def __init__(self, folder: Path, *, is_cut: bool) -> None:
        self._link, self._is_cut = folder / "port", is_cut
        self._away, self._stop, self._lock = threading.Event(), threading.Event(), threading.Lock()
        self._end = -1
        self._sequence = self._index = 0
        self.address = f"serial:{self._link}"
        self.unnoticed_s = 0.0 if is_cut else 1.2  # a board that begins to speak again before that was not lost
        self._plug_in()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def unplug(self) -> None:
        """Take it away."""
        self._away.set()
        if self._is_cut:
            self._link.unlink()  # first, as its number may at once be another terminal's
            with self._lock:
                os.close(self._end)
                self._end = -1

    def plug(self) -> None:
        """Bring it back."""
        if self._is_cut:
            self._plug_in()
        self._away.clear()

    def close(self) -> None:
        """Take it away for ever."""
        self._stop.set()
        self._thread.join()
        if self._end >= 0:
            os.close(self._end)

    def _plug_in(self) -> None:
        end, host_end = os.openpty()
        tty.setraw(host_end)
        os.set_blocking(end, False)
        self._link.symlink_to(os.ttyname(host_end))
        os.close(host_end)
        with self._lock:
            self._end = end

    def _run(self) -> None:
        while not self._stop.wait(PACE_S):
            first, self._index = self._index, taken()
            with self._lock:
                if self._end >= 0 and not self._away.is_set() and not self._is_hung_up():
                    self._send(max(first, self._index - RATE_HZ // 5))

    def _is_hung_up(self) -> bool:
        poll = select.poll()
        poll.register(self._end, select.POLLOUT)
        return any(event & select.POLLHUP for _, event in poll.poll(0))

    def _send(self, first: int) -> None:
        self._write(encoding.description(self._sequence, first, INPUTS))
        for at in range(first, self._index, FRAME):
            self._sequence += 1
            self._write(encoding.samples(self._sequence, at, samples(at, min(at + FRAME, self._index))))
        self._sequence += 1

    def _write(self, piece: bytes) -> None:
        until = time.monotonic() + 0.5
        while piece and time.monotonic() < until and not self._is_hung_up():
            if select.select([], [self._end], [], 0.02)[1]:
                with suppress(BlockingIOError):
                    piece = piece[os.write(self._end, piece) :]


class Paced(Digitizer):
    """Its samples are those taken until now, as far as its memory of a second reaches."""

    def _one(self, command: str) -> bytes | None:
        if command.startswith("DATA:COUN"):
            self.frame, self.now = max(self.now, taken() - RATE_HZ), max(self.now, taken())
            return str(self.frame).encode()
        if command.startswith("DATA:REM"):
            return self._block(self.frame, self.now)
        if command.startswith("INIT"):
            self.now = taken()
        return super()._one(command)

    def _block(self, first: int, end: int, inputs: Sequence[int] | None = None) -> bytes:
        data = samples(first, end)[inputs or slice(None)].T.astype("<i2").tobytes()
        length = str(len(data)).encode()
        return b"#%d%s%s" % (len(length), length, data)


class Instrument:
    """On the net. `is_reset` resets connections; else those of before stay open and are never answered again."""

    def __init__(self, _: Path, *, is_reset: bool) -> None:
        self._is_reset, self._is_away, self._dead = is_reset, False, 0
        self.unnoticed_s = 0.0
        self.asked = threading.Event()
        self._server = Server(Paced(np.zeros((INPUTS, 1), np.int16), RATE_HZ), self._tamper)
        self._server.start()
        self.address = self._server.address(dialect="example-stream", inputs="1,2,3", rate=RATE_HZ)

    def unplug(self) -> None:
        """Take it away."""
        self._dead, self._is_away = self._server.connections, True

    def plug(self) -> None:
        """Bring it back."""
        self._is_away = False

    def close(self) -> None:
        """End the server."""
        self._server.stop()

    def _tamper(self, _: str, answer: bytes) -> bytes | None:
        self.asked.set()
        if self._is_reset and self._is_away:
            raise HangUp
        time.sleep(PACE_S)  # else it would be asked for every sample
        is_dead = not self._is_reset and (self._is_away or self._server.connections <= self._dead)
        return None if is_dead else answer


WAYS: dict[str, Callable[[Path], Board | Instrument]] = {
    "pty closed": lambda folder: Board(folder, is_cut=True),
    "pty silent": lambda folder: Board(folder, is_cut=False),
    "socket reset": lambda folder: Instrument(folder, is_reset=True),
    "socket half-open": lambda folder: Instrument(folder, is_reset=False),
}


class Command:
    """`log`, or `watch --record`, on a terminal of its own."""

    def __init__(self, name: str, address: str, folder: Path, *options: str) -> None:
        (folder / "setup.toml").write_text(SETUP, encoding="utf-8")
        self._name, self.kept = name, folder / "kept"
        self._lead, follow = os.openpty()
        termios.tcsetwinsize(follow, (24, 80))
        where = "--to" if name == "log" else "--record"
        program = [sys.executable, "-c", "from monitor.cli import main; main()", name, address]
        self._process = subprocess.Popen(
            [*program, "--setup", str(folder / "setup.toml"), where, str(self.kept), *options],
            stdin=follow, stdout=follow, stderr=follow,
            env=cautioned() | {"TERM": "xterm-256color"},
        )  # fmt: skip
        os.close(follow)
        self.seen = bytearray()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def until(self, condition: Callable[[], bool], what: str) -> None:
        """Wait for something to hold."""
        deadline = time.monotonic() + LONGEST_S
        while not condition():
            assert self._process.poll() is None, f"{what}: it ended: {self.seen[-600:].decode(errors='replace')}"
            assert time.monotonic() < deadline, f"{what}: {self.seen[-600:].decode(errors='replace')}"
            time.sleep(0.02)

    def gaps(self) -> int:
        """How many gaps the ledger has."""
        if not (self.kept / "ledger.sqlite").exists():
            return -1
        with closing(sqlite3.connect(self.kept / "ledger.sqlite")) as book, suppress(sqlite3.OperationalError):
            return int(book.execute("SELECT count(*) FROM gaps").fetchone()[0])
        return -1

    def holds(self) -> tuple[int, int]:
        """Descriptors and threads, without those of the moment."""
        counts = []
        for _ in range(20):
            time.sleep(0.02)
            counts.append([len(list(Path(f"/proc/{self._process.pid}/{kind}").iterdir())) for kind in ("fd", "task")])
        descriptors, threads = np.min(counts, axis=0)
        return int(descriptors), int(threads)

    def is_alive(self) -> bool:
        """Whether the screen still answers to a key."""
        if self._name == "log":
            return True
        os.write(self._lead, b"?")
        self.until(lambda: b"one a cylinder" in self.seen, "help")
        os.write(self._lead, b"\x1b")
        return True

    def end(self) -> int:
        """Leave it as a person does; its exit status."""
        if self._name == "log":
            self._process.send_signal(signal.SIGINT)
        else:
            time.sleep(0.5)
            os.write(self._lead, b"q")
        return self.wait()

    def wait(self) -> int:
        """Wait for its end; its exit status."""
        status = self._process.wait(LONGEST_S)
        self._reader.join()
        return status

    def kill(self) -> None:
        """Leave nothing behind."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        os.close(self._lead)

    def _read(self) -> None:
        with suppress(OSError):
            while more := os.read(self._lead, 65536):
                self.seen += more


@dataclass(frozen=True)
class Outcome:
    """`errors_ms` is, for each gap, its length in the recording less the true one."""

    status: int
    gaps: int
    errors_ms: tuple[float, ...]
    wrong_samples: int
    holds_first: tuple[int, int]
    holds_last: tuple[int, int]
    tail: str


@contextmanager
def running(command: str, way: str, folder: Path, *options: str) -> Iterator[tuple[Command, Board | Instrument]]:
    """A command over an instrument that can be taken away."""
    instrument = WAYS[way](folder)
    try:
        process = Command(command, instrument.address, folder, *options)
        try:
            yield process, instrument
        finally:
            process.kill()
    finally:
        instrument.close()


def unplugged(command: str, way: str, times: int, folder: Path) -> Outcome:
    """Take it away so many times, each time once it is back."""
    chance = random.Random(times)
    with running(command, way, folder) as (process, instrument):
        process.until(lambda: process.gaps() == 0, "start")
        time.sleep(0.7)
        first = (0, 0)
        for number in range(1, times + 1):
            instrument.unplug()
            time.sleep(chance.uniform(0.1, 0.6) + instrument.unnoticed_s)
            instrument.plug()
            process.until(lambda number=number: process.gaps() >= number, f"{way}: back after {number}")  # type: ignore[misc]
            time.sleep(chance.uniform(0.1, 0.4))
            first = process.holds() if number == 1 else first
        last = process.holds()
        assert process.is_alive()
        status = process.end()
        errors_ms, wrong = judged(process.kept)
        return Outcome(
            status, len(errors_ms), errors_ms, wrong, first, last, process.seen[-300:].decode(errors="replace")
        )


def judged(kept: Path) -> tuple[tuple[float, ...], int]:
    """Hold every sample's place against its own number."""
    offsets, wrong, end = [], 0, None
    for block in read_blocks(kept, read_info(kept)):
        offset = number_of(block) - np.arange(block.first_index, block.end_index)
        if end != block.first_index:
            offsets.append(int(offset[0]))
        wrong += int(np.count_nonzero(offset != offsets[-1]))
        end = block.end_index
    return tuple(-(after - before) * 1e3 / RATE_HZ for before, after in pairwise(offsets)), wrong


def main() -> None:
    """Every way under both commands."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 25
    for command in sys.argv[2:] or ("log", "watch"):
        for way in WAYS:
            began_s = time.monotonic()
            with tempfile.TemporaryDirectory() as folder:
                done = unplugged(command, way, times, Path(folder))
            print(
                f"{command:5} {way:16} {times} times in {time.monotonic() - began_s:.0f} s: status {done.status},"
                f" {done.gaps} gaps, off by {min(done.errors_ms):+.1f} to {max(done.errors_ms):+.1f} ms,"
                f" in all {sum(done.errors_ms):+.1f} ms, {done.wrong_samples} wrong samples,"
                f" descriptors and threads {done.holds_first} -> {done.holds_last}",
                flush=True,
            )


if __name__ == "__main__":
    main()
