"""Where coilcall keeps what outlasts its runs: a folder among the account's state."""

import os
from pathlib import Path

from acquire.errors import AddressError


def state_folder() -> Path:
    """As the XDG Base Directory Specification has it, there or not. Raises AddressError where no home is known."""
    state = Path(os.environ.get("XDG_STATE_HOME", ""))
    if not state.is_absolute():
        try:
            state = Path.home() / ".local" / "state"
        except RuntimeError:
            raise AddressError("no home folder is known: set XDG_STATE_HOME to a folder that is to be used") from None
    return state / "coilcall"
