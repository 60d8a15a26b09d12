"""Pictures made by hand for the tests of the screen."""

from dataclasses import dataclass, field, replace

from monitor.dashboard.picture import Picture
from monitor.firing.records import Outcome
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from monitor.snapshot import Counts, CylinderView, LevelView, Snapshot
from monitor.source_view import SourceState, SourceView

A, X, O, U = Outcome.ACKNOWLEDGED, Outcome.UNACKNOWLEDGED, Outcome.UNCOMMANDED, Outcome.UNOBSERVED  # noqa: E741


def cylinder(number: int, recent: tuple[Outcome, ...], opportunities: int | None = None) -> CylinderView:
    counts = Counts(
        opportunities=len(recent) if opportunities is None else opportunities,
        commanded=None,
        acknowledged=recent.count(A),
        unacknowledged=recent.count(X),
        uncommanded=recent.count(O),
        unobserved=recent.count(U),
    )
    return CylinderView(number, counts, recent, 2.5, 0.812, 0.61)


def miss(number: int, cylinder: int, start_s: float, *, lasts: bool = False, detail: str = "no answer") -> Flag:
    end_s = None if lasts else start_s
    return Flag(number, Kind.MISSING_ACKNOWLEDGEMENT, Severity.FAULT, cylinder, None, start_s, end_s, 1, detail)


def snapshot(cylinders: int = 6, missing: int | None = None, **changes: object) -> Snapshot:
    views = tuple(cylinder(n, (A,) * 80 + ((X, A, A) if n == missing else (A,) * 3)) for n in range(1, cylinders + 1))
    values: dict[str, object] = {
        "time_s": 61.5,
        "rpm": 812.4,
        "state": "running",
        "cylinders": views,
        "levels": (LevelView("in1", "supply", "coil feed", 13.82), LevelView("in2", "control", "", 1.0)),
        "flags": (miss(1, missing, 60.0),) if missing else (),
        "flags_raised": 1 if missing else 0,
        "acknowledgement_timing": "during-charge",
    }
    return Snapshot(**(values | changes))  # type: ignore[arg-type]


def source(**changes: object) -> SourceView:
    values: dict[str, object] = {"address": "demo:", "state": SourceState.FLOWING, "sample_rate_hz": 50_000.0}
    return SourceView(**(values | changes))  # type: ignore[arg-type]


def picture(cylinders: int = 6, missing: int | None = None, turns_per_column: int = 1) -> Picture:
    return Picture(snapshot(cylinders, missing), source(), turns_per_column)


@dataclass
class Still:
    """Something watched that stands still until it is given another picture."""

    now: Snapshot = field(default_factory=snapshot)
    origin: SourceView = field(default_factory=source)

    def snapshot(self) -> Snapshot:
        return self.now

    def source(self) -> SourceView:
        return self.origin

    def mark(self, by: str) -> None:
        mark = Mark(len(self.now.marks) + 1, self.now.time_s, by)
        self.now = replace(self.now, marks=(mark, *self.now.marks))


@dataclass
class Keys:
    """A player that remembers what it was told."""

    pressed: list[str] = field(default_factory=list)

    def toggle_pause(self) -> None:
        self.pressed.append("toggle_pause")

    def step(self) -> None:
        self.pressed.append("step")

    def faster(self) -> None:
        self.pressed.append("faster")

    def slower(self) -> None:
        self.pressed.append("slower")

    def later(self) -> None:
        self.pressed.append("later")

    def earlier(self) -> None:
        self.pressed.append("earlier")

    def beginning(self) -> None:
        self.pressed.append("beginning")
