"""Whether somebody has put the cautions away before: a small file among the account's state."""

import os
from contextlib import suppress
from pathlib import Path

from monitor.cautions import CAUTIONS


def are_read() -> bool:
    """Whether these very cautions were put away before; a file that cannot be read says no."""
    try:
        return _note().read_text(encoding="utf-8") == CAUTIONS
    except (OSError, ValueError, RuntimeError):
        return False


def note_read() -> None:
    """Remember that they were; where that cannot be written, they will be shown again."""
    with suppress(OSError, RuntimeError):
        note = _note()
        note.parent.mkdir(parents=True, exist_ok=True)
        note.write_text(CAUTIONS, encoding="utf-8")


def _note() -> Path:
    """As the XDG Base Directory Specification has it; raises RuntimeError where no home is known."""
    state = Path(os.environ.get("XDG_STATE_HOME", ""))
    folder = state if state.is_absolute() else Path.home() / ".local" / "state"
    return folder / "coilcall" / "cautions-read"
