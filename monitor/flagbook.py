"""The flags of a recording: raised once, grown while the condition goes on, cleared when it ends."""

from dataclasses import replace

from monitor.flags import Flag, Kind, Severity

_ORDER = list(Severity)
Key = tuple[Kind, int | None, str | None]


class FlagBook:
    """Open flags by kind, cylinder and input; `changed` collects every flag in its new state."""

    def __init__(self) -> None:
        self._raised = 0
        self._open: dict[Key, Flag] = {}
        self._changed: dict[int, Flag] = {}

    @property
    def raised(self) -> int:
        """Flags raised so far."""
        return self._raised

    def is_open(self, kind: Kind, cylinder: int | None = None, input: str | None = None) -> bool:  # noqa: A002
        """Whether such a flag lasts."""
        return (kind, cylinder, input) in self._open

    def note(
        self,
        kind: Kind,
        severity: Severity,
        at_s: float,
        detail: str,
        *,
        cylinder: int | None = None,
        input: str | None = None,  # noqa: A002
    ) -> None:
        """Raise the flag, or count once more if it lasts already.

        A lasting flag takes the worse severity and the newest evidence (`detail`).
        """
        key = (kind, cylinder, input)
        known = self._open.get(key)
        if known is None:
            self._raised += 1
            self._keep(key, Flag(self._raised, kind, severity, cylinder, input, at_s, None, 1, detail))
        else:
            worse = max(known.severity, severity, key=_ORDER.index)
            self._keep(key, replace(known, severity=worse, count=known.count + 1, detail=detail))

    def clear(self, kind: Kind, at_s: float, *, cylinder: int | None = None, input: str | None = None) -> None:  # noqa: A002
        """End the flag where it lasts."""
        known = self._open.pop((kind, cylinder, input), None)
        if known is not None:
            self._changed[known.number] = replace(known, end_s=at_s)

    def once(
        self,
        kind: Kind,
        severity: Severity,
        span_s: tuple[float, float],
        detail: str,
        *,
        cylinder: int | None = None,
        input: str | None = None,  # noqa: A002
    ) -> None:
        """Raise and clear in one: something that is over when it is known."""
        self.note(kind, severity, span_s[0], detail, cylinder=cylinder, input=input)
        self.clear(kind, span_s[1], cylinder=cylinder, input=input)

    def changes(self) -> tuple[Flag, ...]:
        """Flags raised, grown or cleared since the last call, by number."""
        changed, self._changed = self._changed, {}
        return tuple(changed[number] for number in sorted(changed))

    def _keep(self, key: Key, flag: Flag) -> None:
        self._open[key] = flag
        self._changed[flag.number] = flag
