"""Disks and clocks that fail under a running `log`, and what is left then: `python -m tests.bench.disk`.

Real ones: a small file system in memory (root only), the shell's limit on the size of a file, a read-only mount (root
only), a folder deleted while it is written, the machine's civil time set back by an hour (a C compiler), a process that
is stopped and goes on.
"""

import json
import math
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from sqlite3 import connect

import numpy as np

from acquire.recording import read_blocks, read_info
from tests.bench.sources import told_end
from tests.bench.truth import Book, Row, Samples, analysed, book_in, samples_in, stretches, truth

RATE_HZ = 20_000
LIMIT_KB = 1000
LONGEST_S = 40.0
FIVEFOLD = "pace=0&rest_s=0.1"
"""Some five times as fast as real time."""
ENGINE = f"duration=20&rate={RATE_HZ}&rpm=600&seed=7&fault=no-answer,cylinder=4,probability=0.05"
SET_BACK = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>
/* Civil time is an hour earlier once the file SET_BACK exists. */
int clock_gettime(clockid_t which, struct timespec *now) {
    static int (*real)(clockid_t, struct timespec *);
    if (!real) real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int status = real(which, now);
    const char *file = getenv("SET_BACK");
    if (which == CLOCK_REALTIME && file && access(file, F_OK) == 0) now->tv_sec -= 3600;
    return status;
}
"""


@dataclass(frozen=True)
class Left:
    """What a log left, and the firings that the book should have.

    `unaccounted` samples of each input can not be read, are not booked as lost or dropped, and lie between no two runs.
    """

    status: int
    said: str
    disk_words: list[str]
    samples: Samples
    book: Book
    rows: list[Row]
    unaccounted: int

    @property
    def book_is_right(self) -> bool:
        """Whether the book is sound, and has the first of those firings, row for row, and none else."""
        return self.book.sound == "ok" and list(self.book.firings) == self.rows[: len(self.book.firings)]

    @property
    def last_words(self) -> str:
        """What it said at the end."""
        return self.said.rstrip().splitlines()[-1]


class Log:
    """A `log` that runs in a folder, over samples drawn again for the judgement; what it says goes to a file."""

    def __init__(self, kept: Path, scratch: Path, where: str, *, pace: str, around: Sequence[str]) -> None:
        self.kept = kept
        self._told, self._said = scratch / f"told{where}", scratch / f"said{where}"
        address = f"tests.bench.sources:engine?told={self._told}&{pace}&{ENGINE}"
        program = [sys.executable, "-c", "from monitor.cli import main; main()", "log", address, where, str(kept)]
        with self._said.open("wb") as said:
            self.process = subprocess.Popen([*around, *program], stdout=subprocess.DEVNULL, stderr=said)

    def until(self, condition: Callable[[], bool]) -> None:
        """Wait for something to hold while it runs."""
        deadline = time.monotonic() + LONGEST_S
        while not condition():
            assert self.process.poll() is None, self.said
            assert time.monotonic() < deadline, self.said
            time.sleep(0.01)

    def given(self, seconds: float) -> Callable[[], bool]:
        """Whether from now on so many seconds of samples have been given."""
        end = told_end(self._told) + round(seconds * RATE_HZ)
        return lambda: told_end(self._told) >= end

    @property
    def said(self) -> str:
        """All that it said until now."""
        return self._said.read_text(encoding="utf-8")

    def disk_words(self) -> list[str]:
        """What it said of the disk, each time that changed; "" when all was well again."""
        events = [json.loads(line) for line in self.said.splitlines() if line.startswith("{") and line.endswith("}")]
        return [event["words"] for event in events if event["event"] == "disk"]

    def end(self, number: int | None = signal.SIGINT, *, begins_anew: bool = False) -> Left:
        """Stop it by a signal, or wait for its own end, and see what is left."""
        if number is not None:
            self.process.send_signal(number)
        status = self.process.wait(LONGEST_S)
        drawn, book = truth(ENGINE), book_in(self.kept)
        samples = samples_in(self.kept, drawn, begins_anew=begins_anew)
        rows = _analysed_rows(self.kept, book) if begins_anew else drawn.rows
        unaccounted = _unaccounted(self.kept, book, max(samples.end, told_end(self._told))) if samples.read else 0
        return Left(status, self.said, self.disk_words(), samples, book, rows, unaccounted)

    def kill(self) -> None:
        """Leave nothing behind."""
        self.process.kill()
        self.process.wait()


@contextmanager
def logging(
    kept: Path, scratch: Path, where: str = "--to", *, pace: str = "pace=1", around: Sequence[str] = ()
) -> Iterator[Log]:
    """A log that does not outlive the block; `around` runs it."""
    running = Log(kept, scratch, where, pace=pace, around=around)
    try:
        yield running
    finally:
        running.kill()


def _analysed_rows(kept: Path, book: Book) -> list[Row]:
    """Every firing in what is there, each run analysed by itself."""
    info = read_info(kept)
    blocks, starts = list(read_blocks(kept, info)), [first for first in book.starts if first is not None]
    runs = [
        tuple(one for one in blocks if start <= one.first_index < end) for start, end in pairwise([*starts, math.inf])
    ]
    return [row for run in runs for row in analysed(info, run).rows]


def _unaccounted(kept: Path, book: Book, given: int) -> int:
    known = np.zeros(given, bool)
    for (_, before), (first, end) in pairwise([(0, 0), *stretches(kept)]):
        known[before if first in book.starts else first : end] = True
    with closing(connect(kept / "ledger.sqlite")) as ledger:
        rows = ledger.execute(
            "SELECT first_index, samples FROM dropped UNION ALL SELECT first_index, samples FROM gaps"
        )
        for first_index, samples in rows:
            known[first_index : first_index + samples] = True
    return int(np.count_nonzero(~known))


def can_mount() -> bool:
    """Whether this process may: root may, unless in a container that takes that from it."""
    with tempfile.TemporaryDirectory() as scratch:
        try:
            with small_disk(Path(scratch) / "disk", "1m"):
                return True
        except (OSError, subprocess.CalledProcessError):
            return False


@contextmanager
def small_disk(place: Path, size: str) -> Iterator[Path]:
    """A file system in memory, of so many bytes."""
    place.mkdir()
    subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "coilcall-test", str(place)], capture_output=True, check=True
    )
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


@contextmanager
def read_only(place: Path) -> Iterator[Path]:
    """A folder that nobody can write to, root neither."""
    place.mkdir()
    subprocess.run(["mount", "--bind", str(place), str(place)], check=True)
    try:
        subprocess.run(["mount", "-o", "remount,bind,ro", str(place)], check=True)
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def full(scratch: Path) -> Left:
    """The disk is too small for it all."""
    # Slow enough for the book to be written many times meanwhile, as it is when time is real.
    with small_disk(scratch / "disk", "2m") as disk, logging(disk / "kept", scratch, pace=FIVEFOLD) as log:
        return log.end(None)


def filled_by_others(scratch: Path) -> Left:
    """Somebody else fills the disk, and frees it again."""
    with small_disk(scratch / "disk", "6m") as disk, logging(disk / "kept", scratch) as log:
        log.until(log.given(1.0))
        subprocess.run(["dd", "if=/dev/zero", f"of={disk / 'other'}", "bs=1M"], capture_output=True, check=False)
        log.until(lambda: log.disk_words() != [])
        (disk / "other").unlink()
        log.until(lambda: log.disk_words()[-1] == "")
        log.until(log.given(1.0))
        return log.end()


def files_limited(scratch: Path) -> Left:
    """No file may grow beyond a limit."""
    limited = ["bash", "-c", f'ulimit -f {LIMIT_KB}; exec "$@"', "bash"]
    with logging(scratch / "kept", scratch, pace="pace=0", around=limited) as log:
        return log.end(None)


def folder_read_only(scratch: Path) -> Left:
    """The recording's place cannot be written to."""
    with read_only(scratch / "disk") as disk, logging(disk / "kept", scratch) as log:
        return log.end(None)


def folder_deleted(scratch: Path) -> Left:
    """The recording is deleted under the log."""
    with logging(scratch / "kept", scratch) as log:
        log.until(log.given(1.0))
        shutil.rmtree(log.kept)
        log.until(lambda: log.disk_words() != [])
        return log.end()


def clock_set_back(scratch: Path) -> Left:
    """The machine's civil time goes back by an hour."""
    switch = scratch / "now"
    with logging(scratch / "kept", scratch, around=_set_back_by(switch, scratch)) as log:
        log.until(log.given(1.0))
        switch.touch()
        log.until(log.given(1.5))
        return log.end()


def resumed_an_hour_earlier(scratch: Path) -> Left:
    """Between two runs the machine's civil time goes back by an hour."""
    switch, kept = scratch / "now", scratch / "kept"
    around = _set_back_by(switch, scratch)
    with logging(kept, scratch, around=around) as log:
        log.until(log.given(1.0))
        log.end()
    switch.touch()
    with logging(kept, scratch, "--resume", around=around) as log:
        log.until(log.given(1.0))
        return log.end(begins_anew=True)


def _set_back_by(switch: Path, scratch: Path) -> list[str]:
    """What runs a command whose civil time goes back when the file `switch` is there."""
    source, library = scratch / "set_back.c", scratch / "set_back.so"
    source.write_text(SET_BACK, encoding="utf-8")
    subprocess.run(["cc", "-shared", "-fPIC", "-o", str(library), str(source), "-ldl"], check=True)
    return ["env", f"LD_PRELOAD={library}", f"SET_BACK={switch}"]


def process_stopped(scratch: Path) -> Left:
    """The process is stopped for a while and goes on."""
    with logging(scratch / "kept", scratch) as log:
        log.until(log.given(1.0))
        log.process.send_signal(signal.SIGSTOP)
        time.sleep(STOPPED_S)
        log.process.send_signal(signal.SIGCONT)
        log.until(log.given(1.0))
        return log.end(begins_anew=True)


STOPPED_S = 2.5
NEED_MOUNTS = (full, filled_by_others, folder_read_only)
TRIALS = (*NEED_MOUNTS, files_limited, folder_deleted, clock_set_back, resumed_an_hour_earlier, process_stopped)


def main() -> None:
    """Print what each left."""
    for trial in TRIALS if can_mount() else TRIALS[len(NEED_MOUNTS) :]:
        with tempfile.TemporaryDirectory() as scratch:
            left = trial(Path(scratch))
        print(
            f"{trial.__doc__}\n  status {left.status}; {left.samples}, {left.unaccounted} unaccounted for;"
            f" {len(left.book.firings)} of {len(left.rows)} firings,"
            f" {'right' if left.book_is_right else 'WRONG'}, {len(left.book.flags)} flags"
        )
        for words in left.disk_words:
            print(f"  disk: {words or 'written again'}")
        print(f"  {left.last_words}", flush=True)


if __name__ == "__main__":
    main()
