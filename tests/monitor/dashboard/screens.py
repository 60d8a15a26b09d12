"""Every state of the screen, drawn into screens/*.txt: `python -m tests.monitor.dashboard.screens` draws them again.

A file holds what stands on a terminal of 80 x 24, of 120 x 40, and of 80 x 24 without colours; below each, row by row
and column by column, what is filled, reversed or coloured, for that is meant.
"""

import asyncio
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

from rich.segment import Segment
from textual.pilot import Pilot

from monitor.dashboard import palette
from monitor.dashboard.app import Dashboard
from monitor.findings.finding import Confidence, Finding
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from monitor.rates import load
from monitor.snapshot import LevelView, Snapshot
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import A, Keys, O, Still, U, X, cylinder, miss, snapshot, source

FOLDER = Path(__file__).parent / "screens"
VARIANTS = {"80 x 24": ((80, 24), False), "120 x 40": ((120, 40), False), "80 x 24, no colours": ((80, 24), True)}
NAMES = {value: name for name, value in vars(palette).items() if isinstance(value, str) and value.startswith("#")}

LEVELS = (LevelView("in1", "supply", "", 13.82), LevelView("in3", "acknowledgement", "", 4.71))
STANDS = tuple(cylinder(n, ()) for n in (1, 4, 2, 5, 3, 6))
RUNS = tuple(cylinder(n, (A,) * 300, 4000) for n in (1, 4, 2, 5, 3, 6))
MISSED = tuple(
    cylinder(n, (A,) * 200 + {4: (X, A, A, X, X, A), 5: (A, O, A, A, U, A)}.get(n, (A,) * 6), 4000)
    for n in (1, 4, 2, 5, 3, 6)
)
FLAGS = (
    replace(miss(5, 4, 598.2, detail="no answer in its turn; its call is not connected"), count=2),
    Flag(4, Kind.SUPPLY_SAG, Severity.WARNING, 4, "in1", 590.0, None, 12, "fell by 1.9 V while coil 4 charged"),
    Flag(3, Kind.MISSING_COMMAND, Severity.FAULT, 5, "in2", 560.0, 560.0, 1, "not called, though others were"),
    Flag(2, Kind.ALL_CUT, Severity.INFO, None, None, 300.0, 301.5, 1, "no cylinder was called"),
)
FOUND = Finding(
    "the branch of coil 4 to the acknowledgement line, its plug, or the answer output inside coil 4",
    "cylinder 4 did not answer in 3 of 4000 turns while others answered",
    "Key off to connect. Engine running, at the acknowledgement pin of coil 4: rest near 5 V, below 1 V at each call.",
    Confidence.FIRM,
)


def now(**changes: object) -> Snapshot:
    return replace(snapshot(time_s=600.0, levels=LEVELS), **({"cylinders": RUNS} | changes))  # type: ignore[arg-type]


STANDING = now(time_s=12.0, rpm=None, state="stopped", cylinders=STANDS, acknowledgement_timing=None)
MISSES = now(
    cylinders=MISSED, flags=FLAGS, flags_raised=4, findings=(FOUND,), marks=(Mark(1, 599.0, "key"),),
    coverage=0.99987, lost_samples=1300,
)  # fmt: skip
CUT = Flag(1, Kind.ALL_CUT, Severity.INFO, None, None, 598.5, None, 1, "no cylinder is called")
OFF = (LevelView("in1", "supply", "", 0.02), LevelView("in3", "acknowledgement", "", 0.01))
LOST = source(
    state=SourceState.LOST, times_lost=2, lost_at_s=590.0, outage_s=10.0,
    reason="serial:/dev/ttyACM0: no samples for 1.0 s; tried again 4 times",
)  # fmt: skip
REPLAY = source(state=SourceState.PAUSED, speed=0.5, total_s=900.0, address="drive.csv")

STATES: dict[str, tuple[Still, tuple[str, ...]]] = {
    "opening": (Still(Snapshot(0.0, None, "unknown", ()), source(state=SourceState.OPENING, sample_rate_hz=None)), ()),
    "stopped": (Still(replace(STANDING, levels=OFF), source()), ()),
    "key-on": (Still(STANDING, source()), ()),
    "cranking": (Still(replace(STANDING, state="cranking", rpm=210.0), source()), ()),
    "running": (Still(now(), source(simulated=True)), ()),
    "overrun": (Still(now(state="cut", rpm=None, flags=(CUT,), flags_raised=1), source()), ()),
    "misses": (Still(MISSES, source()), ()),
    "misses-large": (Still(MISSES, source()), ("b",)),
    "lost": (Still(MISSES, LOST), ()),
    "disk-full": (Still(now(), source(disk="samples not kept: no space left", recording_to="drive-1")), ()),
    "ended": (Still(MISSES, source(state=SourceState.ENDED, speed=1.0, total_s=600.0)), ()),
    "paused": (Still(MISSES, REPLAY), ()),
    "muted": (Still(now(), source()), ("z",)),
    "help": (Still(now(), source()), ("question_mark",)),
}


async def drawn(watched: Still, keys: tuple[str, ...], size: tuple[int, int]) -> str:
    """What stands on the screen after these keys, and how it is drawn where that means something."""
    app = Dashboard(watched, Keys() if watched.origin.speed is not None else None, alerts=frozenset())
    async with app.run_test(size=size) as pilot:
        await pilot.press(*keys)
        rows = await _rows(app, pilot)
    texts = ["".join(segment.text for segment in row).rstrip() for row in rows]
    styled = [f"{number:2} {' '.join(spans)}" for number, row in enumerate(rows) if (spans := [*_spans(row)])]
    return "\n".join([*texts, *styled, ""])


async def _rows(app: Dashboard, pilot: Pilot[None]) -> list[list[Segment]]:
    """The screen as soon as it stands still; the last line, the keys, is drawn after the others."""
    app.pull()
    before: list[list[Segment]] = []
    rows = _strips(app)
    while rows != before or not "".join(segment.text for segment in rows[-1]).strip():
        await pilot.pause()
        before, rows = rows, _strips(app)
    return rows


def _strips(app: Dashboard) -> list[list[Segment]]:
    return [list(strip) for strip in app.screen._compositor.render_strips()]


def _spans(row: list[Segment]) -> Iterator[str]:
    """`column+cells=how` of everything but plain text."""
    column = 0
    for segment in row:
        how = _how(segment)
        if how:
            yield f"{column}+{len(segment.text)}={how}"
        column += len(segment.text)


def _how(segment: Segment) -> str:
    style = segment.style
    if style is None:
        return ""
    ink, ground = (NAMES.get(colour.name.upper(), "") if colour else "" for colour in (style.color, style.bgcolor))
    words = [] if ink in ("", "INK", "QUIET", "BLACK") else [ink.lower()]
    words += [f"on-{ground.lower()}"] if ground not in ("", "BLACK", "PAGE") else []
    return ",".join([*words, *(["reverse"] if style.reverse else [])])


def screen(state: str) -> str:
    """All variants of one state, as its file holds them."""
    load()
    watched, keys = STATES[state]
    parts = []
    for name, (size, is_monochrome) in VARIANTS.items():
        with patch.dict(os.environ), patch("monitor.dashboard.monochrome.has_colours", return_value=True):
            os.environ.pop("NO_COLOR", None)
            if is_monochrome:
                os.environ["NO_COLOR"] = "1"
            drawing = asyncio.run(drawn(replace(watched), keys, size))
        parts.append(f"=== {name} ===\n{drawing}")
    return "".join(parts)


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for old in FOLDER.glob("*.txt"):
        old.unlink()
    for one in STATES:
        (FOLDER / f"{one}.txt").write_text(screen(one), encoding="utf-8", newline="\n")
