"""From one picture to the next: what is new, and what the terminal should hear of it."""

from dataclasses import dataclass

from monitor.alerts import Alert, notification
from monitor.dashboard.picture import Picture
from monitor.dashboard.verdict import Verdict, verdict
from monitor.flags import Severity
from monitor.source_view import SourceState
from monitor.text import plain

SAVE_TITLE, RESTORE_TITLE = "\x1b[22;2t", "\x1b[23;2t"
"""The terminal keeps its title, and takes it back in the end (XTWINOPS among xterm's control sequences)."""
_BELL = "\x07"
_QUIET_S = 3.0
"""From one bell to the next; what is new meanwhile rings then."""
_LONGEST = 120
_SIGN = {"fault": "X", "lost": "LOST"}
"""How the title begins, by the tone of the verdict."""


@dataclass(slots=True)
class Alarm:
    """Asked with every picture. What the first one shows is not new; a muted one leaves the title to speak."""

    alerts: frozenset[Alert]
    is_muted: bool = False
    _title: str = ""
    _known: frozenset[int] | None = None
    _was_lost: bool = False
    _is_due: bool = False
    _rang_at_s: float = float("-inf")

    def take(self, picture: Picture, now_s: float) -> str:
        """Give what to send to the terminal, mostly nothing; `now_s` is monotonic time."""
        self._note(picture)
        shown = verdict(picture)
        return self._name(shown) + self._call(shown, now_s)

    def _note(self, picture: Picture) -> None:
        """A fault that was not there, or a source that has just been lost, is due to be told."""
        faults = frozenset(flag.number for flag in picture.snapshot.flags if flag.severity is Severity.FAULT)
        is_lost = picture.source.state is SourceState.LOST
        is_jumping = picture.source.state is SourceState.JUMPING  # what it passes is not new
        is_new = not is_jumping and self._known is not None and bool(faults - self._known or is_lost > self._was_lost)
        self._known, self._was_lost = faults, is_lost
        self._is_due = (self._is_due or is_new) and not self.is_muted

    def _call(self, shown: Verdict, now_s: float) -> str:
        if not self._is_due or now_s - self._rang_at_s < _QUIET_S:
            return ""
        self._is_due, self._rang_at_s = False, now_s
        text = plain(f"{shown.headline}: {shown.evidence}")[:_LONGEST]
        bell = _BELL if Alert.BELL in self.alerts else ""
        return bell + (notification(text) if Alert.NOTIFICATION in self.alerts else "")

    def _name(self, shown: Verdict) -> str:
        title = f"{_SIGN.get(shown.tone, '')}{shown.cylinder or ''} coilcall".strip()
        if Alert.TITLE not in self.alerts or title == self._title:
            return ""
        self._title = title
        return f"\x1b]2;{title}{_BELL}"
