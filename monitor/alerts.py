"""The ways to call for attention beside the screen itself, and which of them a terminal has."""

import os
from enum import StrEnum

ALERTS_VARIABLE = "COILCALL_ALERTS"
"""Environment variable that holds a person's choice; `--alerts` sets it, so that viewers in browsers inherit it."""
_TAKES_9 = ("foot", "ghostty", "xterm-ghostty", "xterm-kitty", "wezterm")
_TAKES_777 = ("rxvt-unicode",)
"""Terminal types (TERM) that show a notification for this operating system command; terminfo has no entry for it."""


class Alert(StrEnum):
    """One way to call for attention."""

    TITLE = "title"
    BELL = "bell"
    NOTIFICATION = "notification"


def chosen_alerts() -> frozenset[Alert]:
    """What was chosen; else title and bell, and a notification on a terminal that is known to show one."""
    chosen = os.environ.get(ALERTS_VARIABLE)
    if chosen is not None:
        return alerts_of(chosen)
    return frozenset(Alert) if _term().startswith(_TAKES_9 + _TAKES_777) else frozenset((Alert.TITLE, Alert.BELL))


def alerts_of(text: str) -> frozenset[Alert]:
    """Understand `title,bell,notification`, some of these, or `none`. Raises ValueError with one line."""
    words = [word.strip() for word in text.split(",")]
    if words == ["none"]:
        return frozenset()
    if not set(words) <= set(Alert):
        raise ValueError(f"{text!r} is no list of alerts; possible are {', '.join(Alert)} with commas between, or none")
    return frozenset(map(Alert, words))


def notification(text: str) -> str:
    """Characters that have the terminal show a text, which must be plain, to whoever looks at another window."""
    return f"\x1b]777;notify;coilcall;{text}\x07" if _term().startswith(_TAKES_777) else f"\x1b]9;coilcall: {text}\x07"


def _term() -> str:
    return os.environ.get("TERM", "")
