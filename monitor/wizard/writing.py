"""Putting the file on the disk: whole, or not at all, and never over another unasked."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from acquire.errors import SetupError


def refuse_early(file: Path, *, replaces: bool) -> None:
    """Say before anything is asked what would hinder writing. Raises SetupError."""
    with _telling(file):
        if file.is_dir():
            raise SetupError(f"{file}: is a folder; give the name of a file")
        if not file.parent.is_dir():
            raise SetupError(f"{file}: there is no folder {file.parent}; make it first")
        if not os.access(file.parent, os.W_OK):
            raise SetupError(f"{file}: nothing can be written in {file.parent}; give another place")
        if file.exists() and not replaces:
            raise SetupError(f"{file}: is there already; give another name, or --force to replace it")


def write_whole(file: Path, text: str, *, replaces: bool) -> None:
    """Write beside it, then give it its name in one step. Raises SetupError."""
    with _telling(file):
        handle, beside = tempfile.mkstemp(prefix=".coilcall-", dir=file.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as out:
                out.write(text)
                out.flush()
                os.fsync(out.fileno())
            refuse_early(file, replaces=replaces)
            Path(beside).chmod(0o644)
            Path(beside).replace(file)
        finally:
            with suppress(FileNotFoundError):
                Path(beside).unlink()


@contextmanager
def _telling(file: Path) -> Iterator[None]:
    """Say what the disk refuses, and of which file."""
    try:
        yield
    except OSError as error:
        raise SetupError(f"{file}: cannot be written: {error.strerror or error}; give another place") from error
