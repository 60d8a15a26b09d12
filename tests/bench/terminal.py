"""A command on a terminal of its own, and what stands on its screen when.

Understood is what the dashboard writes: text, moves to a place and colours; everything else is passed over.
"""

import codecs
import os
import re
import signal
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager, suppress

from rich.cells import cell_len

from tests.bench.cautioned import cautioned

_CODE = re.compile(r"\x1b\[([0-?]*)[ -/]*([@-~])|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[^\[\]]")
_UNFINISHED = re.compile(r"\x1b(?:\[[0-?]*[ -/]*|\][^\x07\x1b]*)?\Z")
LONGEST_S = 60.0


class Screen:
    """What a terminal of `columns` by `rows` shows."""

    def __init__(self, columns: int, rows: int) -> None:
        self._rows = [[" "] * columns for _ in range(rows)]
        self._row = self._column = 0
        self._decoder, self._rest = codecs.getincrementaldecoder("utf-8")("replace"), ""

    def write(self, data: bytes) -> None:
        """Take what a program wrote, cut anywhere."""
        text = self._rest + self._decoder.decode(data)
        cut = _UNFINISHED.search(text)
        text, self._rest = (text[: cut.start()], text[cut.start() :]) if cut else (text, "")
        at = 0
        for code in _CODE.finditer(text):
            self._put(text[at : code.start()])
            if code[2] == "H":
                row, _, column = code[1].partition(";")
                self._row, self._column = int(row or 1) - 1, int(column or 1) - 1
            at = code.end()
        self._put(text[at:])

    def text(self) -> str:
        """All rows as lines."""
        return "\n".join("".join(row) for row in self._rows)

    def _put(self, text: str) -> None:
        for letter in text:
            if letter == "\r":
                self._column = 0
            elif letter == "\n":
                self._feed_line()
            elif letter >= " ":
                self._place(letter)

    def _feed_line(self) -> None:
        self._row += 1
        if self._row == len(self._rows):
            self._row -= 1
            self._rows = [*self._rows[1:], [" "] * len(self._rows[0])]

    def _place(self, letter: str) -> None:
        if self._row < len(self._rows) and self._column < len(self._rows[0]):
            self._rows[self._row][self._column] = letter
        self._column += cell_len(letter)


class Terminal:
    """`coilcall` with arguments, on a pseudo-terminal. `seen` is what `look` made of the screen, each time it changed.

    Times are monotonic, as this process got the bytes.
    """

    def __init__(self, arguments: list[str], look: Callable[[str], Hashable], size: tuple[int, int] = (80, 24)) -> None:
        self._look, self._screen = look, Screen(*size)
        self._lead, follow = os.openpty()
        termios.tcsetwinsize(follow, size[::-1])
        self.seen: list[tuple[float, Hashable]] = []
        self.started_s = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from monitor.cli import main; main()", *arguments],
            stdin=follow, stdout=follow, stderr=follow, env=cautioned() | {"TERM": "xterm-256color"},
        )  # fmt: skip
        os.close(follow)
        self._changed = threading.Condition()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def until(self, condition: Callable[[], bool], longest_s: float = LONGEST_S) -> None:
        """Wait for something that depends on what was seen to hold."""
        with self._changed:
            assert self._changed.wait_for(condition, longest_s), f"not within {longest_s} s:\n{self._screen.text()}"

    def press(self, key: bytes) -> None:
        """Type a key."""
        os.write(self._lead, key)

    def text(self) -> str:
        """The screen now."""
        return self._screen.text()

    def close(self) -> None:
        """End the command, if it has not ended, and the terminal."""
        self.process.send_signal(signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(10.0)
        self.process.kill()
        self.process.wait()
        self._reader.join()
        os.close(self._lead)

    def _read(self) -> None:
        with suppress(OSError):
            while more := os.read(self._lead, 65536):
                now_s = time.monotonic()
                self._screen.write(more)
                found = self._look(self._screen.text())
                with self._changed:
                    if not self.seen or self.seen[-1][1] != found:
                        self.seen.append((now_s, found))
                    self._changed.notify_all()


@contextmanager
def terminal(
    arguments: list[str], look: Callable[[str], Hashable], size: tuple[int, int] = (80, 24)
) -> Iterator[Terminal]:
    """The command, ended when the block is left."""
    running = Terminal(arguments, look, size)
    try:
        yield running
    finally:
        running.close()
