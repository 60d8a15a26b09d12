"""A board at the other end of a pseudo-terminal."""

import os
import select
import subprocess
import threading
import tty
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from serial import Serial

import drivers.serial_board
from drivers.registry import source_for
from drivers.serial_board.source import SerialBoard
from tests.drivers.serial_board import encoding

STEP_S = 0.05
C_FLAGS = ("-std=c99", "-D_POSIX_C_SOURCE=200809L", "-O2", "-Wall", "-Wextra", "-Wconversion", "-pedantic", "-Werror")


@dataclass
class PtyBoard:
    """The board's end, and the name of the host's."""

    end: int
    path: str
    stop: threading.Event = field(default_factory=threading.Event)

    def send(self, pieces: Iterable[bytes], *, begin: threading.Event | None = None, hang_up: bool = False) -> None:
        """Send all pieces as fast as they are taken, once `begin` is set; then unplug, if asked."""
        while begin is not None and not begin.wait(STEP_S) and not self.stop.is_set():
            pass
        for piece in pieces:
            if self.stop.is_set():
                return
            self._send(piece)
        if hang_up:
            self.unplug()

    def unplug(self) -> None:
        """Take the board away while the host has its port open."""
        end, self.end = self.end, -1
        if end >= 0:
            os.close(end)

    def _send(self, piece: bytes) -> None:
        while piece and not self.stop.is_set():
            if select.select([], [self.end], [], STEP_S)[1]:
                with suppress(BlockingIOError):
                    piece = piece[os.write(self.end, piece) :]


@contextmanager
def plugged_in() -> Iterator[PtyBoard]:
    """A board that sends nothing by itself."""
    end, host_end = os.openpty()
    tty.setraw(host_end)
    os.set_blocking(end, False)
    board = PtyBoard(end, os.ttyname(host_end))
    try:
        yield board
    finally:
        board.stop.set()
        board.unplug()
        os.close(host_end)


@contextmanager
def sending(
    pieces: Iterable[bytes], *, begin: threading.Event | None = None, hang_up: bool = False
) -> Iterator[PtyBoard]:
    """A board that sends in a thread of its own."""
    with plugged_in() as board:
        thread = threading.Thread(target=board.send, args=(pieces,), kwargs={"begin": begin, "hang_up": hang_up})
        thread.start()
        try:
            yield board
        finally:
            board.stop.set()
            thread.join()


def source_of(address: str, opened: threading.Event) -> SerialBoard:
    """A board's source that sets an event when its port is open, and whatever had come before is discarded."""
    source = source_for(address)
    assert isinstance(source, SerialBoard)
    connect = source._connect

    def connecting() -> Serial:
        port = connect()
        opened.set()
        return port

    source._connect = connecting
    return source


def endless_frames(counts: NDArray[np.int16]) -> Iterator[bytes]:
    """The same counts over and over, in frames of 10 samples."""
    sequence = index = 0
    while True:
        yield encoding.description(sequence, index, len(counts))
        for number, first in enumerate(range(0, counts.shape[1], 10), start=1):
            piece = counts[:, first : first + 10]
            yield encoding.samples(sequence + number, index, piece)
            index += piece.shape[1]
        sequence += number + 1


def compiled(folder: Path) -> Path:
    """Compile stream.c with the machine's C compiler, as strictly as it can."""
    source, header = Path(__file__).parent / "stream.c", Path(drivers.serial_board.__file__).parent
    program = folder / "stream"
    subprocess.run(["cc", *C_FLAGS, "-I", header, source, "-o", program], check=True, timeout=60)
    return program
