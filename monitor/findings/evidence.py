"""What is known of a recording when somebody asks where to look."""

from dataclasses import dataclass, field

from monitor.bands import Bands
from monitor.flags import Kind, Severity
from monitor.setup import Limits


@dataclass(frozen=True, slots=True)
class Seen:
    """All flags of one kind on one cylinder and input: `flags` of them, `times` in all.

    `first_s` and `latest_s` are where the first and the newest of them began; `detail` is the newest's.
    """

    kind: Kind
    severity: Severity
    cylinder: int | None
    input: str | None
    flags: int
    times: int
    first_s: float
    latest_s: float
    is_open: bool
    detail: str


@dataclass(frozen=True, slots=True)
class Stop:
    """The controller gave a cylinder up: `misses` in a row from `first_s` on, not called since `at_s`."""

    misses: int
    first_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Coil:
    """One coil and what became of its `turns`, all of them observed.

    Turns called (or with the call not connected) and not answered are told apart: `without_feed`, while the feed was
    gone; `line_low`, while the line stood low; `with_all`, while for a whole cycle nobody on its line answered; and
    `alone`, the rest. `given_up` of the `uncalled` turns followed a run of misses. `sag_v` is the usual fall of the
    feed in its turns, `missed_sag_v` and `missed_current_a` are medians of the turns missed alone in which no other
    coil was charging. Unknown is None.
    """

    cylinders: tuple[int, ...]
    turns: int
    unobserved: int = 0
    alone: int = 0
    with_all: int = 0
    line_low: int = 0
    without_feed: int = 0
    uncalled: int = 0
    given_up: int = 0
    feed_gone: int = 0
    is_called: bool = False
    is_answering: bool = True
    line: str = ""
    sag_v: float | None = None
    missed_sag_v: float | None = None
    missed_current_a: float | None = None
    stop: Stop | None = None
    by_speed: Bands | None = None
    by_supply: Bands | None = None

    @property
    def misses(self) -> int:
        """Turns without answer or without call."""
        return self.alone + self.with_all + self.line_low + self.without_feed + self.uncalled


@dataclass(frozen=True, slots=True)
class Line:
    """One acknowledgement line: turns missed while it was silent as a whole, from `since_s` (the latest time) on."""

    input: str
    cylinders: tuple[int, ...]
    silent: int = 0
    since_s: float | None = None
    silent_sag_v: float | None = None
    silent_current_a: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything the table may ask. `feed_loss_v` is battery minus feed between firings, where both are connected."""

    coils: tuple[Coil, ...]
    lines: tuple[Line, ...] = ()
    seen: tuple[Seen, ...] = ()
    coverage: float = 1.0
    feed_loss_v: float | None = None
    limits: Limits = field(default_factory=Limits)

    def of(self, *kinds: Kind, least: Severity = Severity.WARNING) -> tuple[Seen, ...]:
        """What was flagged of these kinds, as grave as `least` or graver."""
        return tuple(
            one for one in self.seen if one.kind in kinds and _GRAVE.index(one.severity) >= _GRAVE.index(least)
        )

    def on(self, coil: Coil, *kinds: Kind, least: Severity = Severity.WARNING) -> tuple[Seen, ...]:
        """What was flagged of these kinds on this coil."""
        return tuple(one for one in self.of(*kinds, least=least) if one.cylinder in coil.cylinders)


_GRAVE = tuple(Severity)
