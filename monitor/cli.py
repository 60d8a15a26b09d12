"""The command line: the commands, and what becomes of everything that may go wrong on purpose."""

import errno
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any, NoReturn

import click

from acquire.errors import CoilcallError
from monitor.commands.analyze import analyze
from monitor.commands.check import check
from monitor.commands.log import log
from monitor.commands.replay import replay
from monitor.commands.setup import setup
from monitor.commands.sources import sources
from monitor.commands.watch import watch
from monitor.terminal import outliving, replace_closed_streams


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="coilcall", message="%(prog)s %(version)s")
def cli() -> None:
    """Call the roll of every ignition coil.

    coilcall watches each turn of each cylinder: was its coil called, and did it answer? It counts what it saw and
    names the cylinder and the wire that failed. An answer proves that primary current was switched, not that there
    was a spark at the plug.

    Exit status: 0 done, 1 a check that ends not ready, 2 bad input or usage, 3 the instrument was lost, 130 broken
    off by Ctrl-C or a kill before it was done.
    """


for _command in (setup, check, watch, log, replay, analyze, sources):
    cli.add_command(_command)


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run, and turn everything that may go wrong on purpose into one line and an exit status."""
    replace_closed_streams()
    try:
        with _kill_as_interrupt():
            status = cli.main(arguments, prog_name="coilcall", standalone_mode=False)
    except click.exceptions.Abort:
        _end(130, "stopped")
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        _end(error.exit_code)
    except click.ClickException as error:
        _end(error.exit_code, f"{error.format_message()}{_help_hint(error)}")
    except (CoilcallError, BaseExceptionGroup) as error:
        cause = _cause(error)
        _end(cause.exit_status, str(cause))
    except OSError as error:
        if error.errno != errno.ENOSPC or error.filename is not None:
            raise
        with outliving(sys.stdout):
            pass  # what was not written is not tried again at the exit
        _end(2, f"what it found could not be written: {error.strerror}")
    _end(status if isinstance(status, int) else 0)


@contextmanager
def _kill_as_interrupt() -> Iterator[None]:
    """Let a polite kill end a command as Ctrl-C does, also while it still connects."""
    before = signal.signal(signal.SIGTERM, _interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _interrupt(number: int, frame: FrameType | None) -> None:
    # A shell that starts a command in the background has SIGINT ignored: raising it would do nothing.
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.default_int_handler(number, frame)
    signal.raise_signal(signal.SIGINT)


def _help_hint(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    return f" (see {context.command_path} --help)" if context else ""


def _cause(error: BaseException) -> CoilcallError:
    """Give the error meant for a person, out of the group that tasks wrap it in; anything else goes on up."""
    found: Any = error
    while isinstance(found, BaseExceptionGroup):
        known = found.subgroup(CoilcallError)
        if known is None:
            raise error
        found = known.exceptions[0]
    assert isinstance(found, CoilcallError)
    return found


def _end(status: int, line: str = "") -> NoReturn:
    if line:
        from monitor.text import plain

        with outliving(sys.stderr):
            click.echo(f"coilcall: {plain(line)}", err=True)
    sys.exit(status)
