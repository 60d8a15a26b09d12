"""The whole recording as one object: what `analyze --json` prints (schema coilcall.summary/1)."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from monitor.analyzer import Analyzer
from monitor.flags import Flag
from monitor.marks import Mark, flags_before
from monitor.standing import Standing
from monitor.tally import CylinderTally, Spread

SCHEMA = "coilcall.summary/1"


def summarize(analyzer: Analyzer, recording: str, flags: Sequence[Flag], marks: Iterable[Mark]) -> dict[str, Any]:
    """Give the summary of a finished analysis; `flags` in their last state, by number."""
    standing = analyzer.standing
    return {
        "schema": SCHEMA,
        "recording": recording,
        "start_s": (standing.first_index or 0) / standing.sample_rate_hz,
        "duration_s": standing.elapsed_s,
        "paused_s": standing.paused_samples / standing.sample_rate_hz,
        "sample_rate_hz": standing.sample_rate_hz,
        "coverage": standing.coverage,
        "engine": {
            "rpm": _spread(standing.speed_rpm, {"min": 0.0, "median": 0.5, "max": 1.0}),
            "revolutions": standing.revolutions,
        },
        "acknowledgement_timing": analyzer.timing.mode,
        "cylinders": [_cylinder(standing, cylinder) for cylinder in sorted(standing.cylinders)],
        "flags": [_flag(flag) for flag in flags],
        "marks": _marks(marks, flags),
        "findings": [asdict(finding) for finding in standing.findings()],
    }


def _cylinder(standing: Standing, cylinder: int) -> dict[str, Any]:
    tally: CylinderTally = standing.cylinders[cylinder]
    parts = {"p05": 0.05, "median": 0.5, "p95": 0.95}
    return {
        "cylinder": cylinder,
        **asdict(standing.counts(cylinder)),
        "dwell_ms": _spread(tally.dwell_ms, parts),
        "acknowledgement_delay_ms": _spread(tally.delay_ms, parts),
        "supply_sag_v": _spread(tally.sag_v, parts),
    }


def _spread(spread: Spread, parts: dict[str, float]) -> dict[str, float] | None:
    values = {name: spread.quantile(part) for name, part in parts.items()}
    known = {name: round(value, 6) for name, value in values.items() if value is not None}
    return known or None


def _flag(flag: Flag) -> dict[str, Any]:
    row = asdict(flag)
    del row["number"]
    row["start_s"] = round(flag.start_s, 6)
    row["end_s"] = None if flag.end_s is None else round(flag.end_s, 6)
    return row


def _marks(marks: Iterable[Mark], flags: Sequence[Flag]) -> list[dict[str, Any]]:
    """Say of each which flags lay just before it, by their places among `flags`, counted from 1."""
    places = {flag.number: place for place, flag in enumerate(flags, 1)}
    return [
        {
            "time_s": round(mark.time_s, 6),
            "by": mark.by,
            "note": mark.note,
            "flags": [places[flag.number] for flag in flags_before(mark, flags)],
        }
        for mark in marks
    ]
