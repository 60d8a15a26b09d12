"""Whether somebody has put the cautions away before: a small file among the account's state."""

from contextlib import suppress
from pathlib import Path

from acquire.errors import AddressError
from monitor.cautions import CAUTIONS
from monitor.state_folder import state_folder


def are_read() -> bool:
    """Whether these very cautions were put away before; a file that cannot be read says no."""
    try:
        return _note().read_text(encoding="utf-8") == CAUTIONS
    except (OSError, ValueError):
        return False


def note_read() -> None:
    """Remember that they were; where that cannot be written, they will be shown again."""
    with suppress(OSError, AddressError):
        note = _note()
        note.parent.mkdir(parents=True, exist_ok=True)
        note.write_text(CAUTIONS, encoding="utf-8")


def _note() -> Path:
    return state_folder() / "cautions-read"
