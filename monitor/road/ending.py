"""What a log says when all is kept: where it is, what is missing, and what was found."""

import sys
from pathlib import Path

import click

from acquire.errors import FormatError
from monitor.analysis import Analysis, print_result
from monitor.keeper import Keeper
from monitor.ledger import LEDGER_NAME, Counted
from monitor.ledger_reader import read_flags, read_marks
from monitor.live import Session
from monitor.road.news import Item
from monitor.road.stops import occupied_bytes
from monitor.terminal import outliving
from monitor.text import counted, plain, span


def end(running: Session, keeper: Keeper, folder: Path) -> Item:
    """Tell where it is, how much that is, and what is not there."""
    now, kept_bytes = running.snapshot(), occupied_bytes(folder)
    lost = f"{counted(now.lost_samples, 'sample')} never came" if now.lost_samples else ""
    unseen = f"the instrument was lost for the last {span(running.unseen_s)}" if running.unseen_s else ""
    missing = [plain(words) for words in (lost, unseen, keeper.disk, keeper.unkept) if words]
    words = f"Kept in {plain(str(folder))}: {kept_bytes / 1e6:.1f} MB; {'; '.join(missing) or 'nothing is missing'}"
    facts = {
        "folder": str(folder),
        "kept_bytes": kept_bytes,
        "flags": now.flags_raised,
        "lost_samples": now.lost_samples,
        "unseen_s": round(running.unseen_s, 3),
        "disk": keeper.disk,
        "unkept": keeper.unkept,
    }
    return Item("end", now.time_s, words, facts)


def show_result(running: Session, before: Counted, folder: Path) -> None:
    """Print what this session found, as the ledger holds it; where that cannot be read, what is still remembered.

    `before` is where the ledger stood before it.
    """
    book, now = folder / LEDGER_NAME, running.snapshot()
    with outliving(sys.stderr), outliving(sys.stdout):
        try:
            flags = [flag for flag in read_flags(book) if flag.number > before.flag]
            marks = [mark for mark in read_marks(book) if mark.number > before.mark]
        except FormatError as error:
            click.echo(f"coilcall: {plain(str(error))}; of flags and marks only the latest are told", err=True)
            flags, marks = [*reversed(now.flags)], [*reversed(now.marks)]
        print_result(Analysis(running.analyzer, flags, marks), str(folder), as_json=False)
        if before.session:
            click.echo("\nThis is what came since it was gone on with; coilcall analyze tells all of it.")
