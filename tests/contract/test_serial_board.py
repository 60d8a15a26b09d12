import itertools
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import ClassVar

import numpy as np

from acquire.source import Source
from drivers.registry import source_for
from tests.contract.source_contract import Breaks, Exact, SourceContract, Waits
from tests.drivers.serial_board.pty_board import endless_frames, plugged_in, sending, source_of

COUNTS = np.arange(3000, dtype=np.int16).reshape(3, 1000)
LINE = b"1,2,3\n"
LINES_OPTIONS = "dialect=lines&rate=1000&bits=12&range_v=5"


class TestFrames(SourceContract, Waits, Breaks):
    @contextmanager
    def make(self) -> Iterator[Source]:
        with sending(endless_frames(COUNTS)) as board:
            yield source_for(f"serial:{board.path}")

    @contextmanager
    def make_silent(self) -> Iterator[Source]:
        with plugged_in() as board:
            yield source_for(f"serial:{board.path}")

    @contextmanager
    def make_breaking(self) -> Iterator[Source]:
        opened = threading.Event()
        with sending(itertools.islice(endless_frames(COUNTS), 2000), begin=opened, hang_up=True) as board:
            yield source_of(f"serial:{board.path}", opened)


class TestFramesThatAreLost(SourceContract, Exact):
    """Each description is followed by 50 samples, of which the frames from 20 to 40 are not sent."""

    expected: ClassVar = [(0, 20), *((start + 40, start + 70) for start in range(0, 1900, 50))]

    @contextmanager
    def make(self) -> Iterator[Source]:
        opened = threading.Event()
        sent = (frame for number, frame in enumerate(endless_frames(COUNTS[:, :50])) if number % 6 not in (3, 4))
        with sending(sent, begin=opened) as board:
            yield source_of(f"serial:{board.path}", opened)


class TestLines(SourceContract, Waits, Breaks, Exact):
    expected: ClassVar = [(0, 50), *((start, start + 50) for start in range(51, 2000, 51))]

    @contextmanager
    def make(self) -> Iterator[Source]:
        opened = threading.Event()
        with sending(itertools.chain([b"\n"], itertools.repeat(LINE * 50 + b"1,2\n")), begin=opened) as board:
            yield source_of(f"serial:{board.path}?{LINES_OPTIONS}", opened)

    @contextmanager
    def make_silent(self) -> Iterator[Source]:
        opened = threading.Event()
        with sending([LINE * 100], begin=opened) as board:
            yield source_of(f"serial:{board.path}?{LINES_OPTIONS}", opened)

    @contextmanager
    def make_breaking(self) -> Iterator[Source]:
        opened = threading.Event()
        with sending(itertools.repeat(LINE, 20_000), begin=opened, hang_up=True) as board:
            yield source_of(f"serial:{board.path}?{LINES_OPTIONS}", opened)
