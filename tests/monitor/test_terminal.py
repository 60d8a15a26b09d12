import io
import sys
import threading

import pytest

from monitor import terminal
from monitor.terminal import patience


class OnATerminal(io.StringIO):
    """A stderr that somebody reads, and that tells when a line has come."""

    def __init__(self) -> None:
        super().__init__()
        self.has_line = threading.Event()

    def isatty(self) -> bool:
        return True

    def flush(self) -> None:
        if self.getvalue():
            self.has_line.set()


def test_a_wait_that_gets_long_is_told_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "_LONG_S", 0.0)
    monkeypatch.setattr(sys, "stderr", read := OnATerminal())
    with patience("nobody answers"):
        assert read.has_line.wait(5.0)
    assert read.getvalue() == "coilcall: nobody answers\n"


def test_a_short_wait_is_not_told_and_leaves_no_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", read := OnATerminal())
    with patience("nobody answers"):
        timer = next(one for one in threading.enumerate() if isinstance(one, threading.Timer))
    timer.join(5.0)
    assert (read.getvalue(), timer.is_alive()) == ("", False)


def test_a_wait_is_told_to_no_pipe(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(terminal, "_LONG_S", 0.0)
    with patience("nobody answers"):
        assert not any(isinstance(one, threading.Timer) for one in threading.enumerate())
    assert capsys.readouterr().err == ""
