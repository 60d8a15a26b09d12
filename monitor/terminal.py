"""Where results go and where a bar is drawn: stdout for the one, stderr for the other, and only what suits each."""

import os
import shutil
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, TextIO

import click

if TYPE_CHECKING:
    from rich.console import Console

_PIPE_COLUMNS = 100
"""Columns of a table that goes to a file or another program."""

_LONG_S = 1.0
_LAST_STREAM = 2
OPENING = "no answer from the source yet; still waiting, Ctrl-C gives up"


def replace_closed_streams() -> None:
    """Give a program that was started without stdin, stdout or stderr some that lead nowhere.

    The next file opened would have their number, and be written into by whoever writes to that.
    """
    while (descriptor := os.open(os.devnull, os.O_RDWR)) <= _LAST_STREAM:
        pass
    os.close(descriptor)
    sys.stdin = sys.stdin or os.fdopen(0, "r")
    sys.stdout = sys.stdout or os.fdopen(1, "w")
    sys.stderr = sys.stderr or os.fdopen(2, "w")


def can_draw() -> bool:
    """Whether there is a terminal for a screen: it is drawn on stderr, so that stdout stays what commands give."""
    return sys.stdin.isatty() and sys.stderr.isatty()


@contextmanager
def outliving(stream: TextIO) -> Iterator[None]:
    """Write to a stream within the block; where its reader or terminal is gone that is no error, now or at the exit."""
    try:
        yield
        stream.flush()
    except (OSError, SystemExit):  # a table's reader that is gone makes rich end the program
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def result_columns() -> int:
    """How wide a line of what a command gives may be."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else _PIPE_COLUMNS


def result_console() -> "Console":
    """Make the console for what a command gives, on stdout."""
    from rich.console import Console

    return Console(highlight=False, width=None if sys.stdout.isatty() else _PIPE_COLUMNS)


@contextmanager
def patience(words: str) -> Iterator[None]:
    """Say on stderr what the block waits for, where that is a terminal and the wait is longer than a second."""
    if not sys.stderr.isatty():
        yield
        return
    saying = threading.Timer(_LONG_S, _say, [f"coilcall: {words}"])
    saying.start()
    try:
        yield
    finally:
        saying.cancel()


def _say(line: str) -> None:
    with outliving(sys.stderr):
        click.echo(line, err=True)


@contextmanager
def progress(words: str, total: int | None) -> Iterator[Callable[[int], object]]:
    """Show on stderr how far it is, where that is a terminal; give what tells it so (samples done, of `total`)."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=total)
        yield lambda done: bar.update(task, completed=done)
