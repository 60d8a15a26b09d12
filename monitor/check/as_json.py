"""The check as one JSON object, schema coilcall.check/1."""

from typing import Any

from monitor.check.report import Report
from monitor.check.stream import engine_runs
from monitor.check.verdict import Judgement

SCHEMA = "coilcall.check/1"


def as_dict(report: Report) -> dict[str, Any]:
    """Give everything that is told, in plain types; figures are None where there are none."""
    measured = report.measured
    return {
        "schema": SCHEMA,
        "source": measured.source,
        "duration_s": measured.duration_s,
        "sample_rate_hz": measured.sample_rate_hz,
        "samples_lost": measured.lost,
        "engine_runs": engine_runs(measured),
        "ready": report.is_ready,
        "verdict": report.verdict,
        "headline": report.headline,
        "lines": [_line(one) for one in report.judgements],
        "not_connected": [
            {"role": one.role.value, "cylinders": list(one.cylinders), "cost": one.cost} for one in report.missing
        ],
        "remarks": list(report.remarks),
    }


def _line(one: Judgement) -> dict[str, Any]:
    channel = one.lead.channel if one.lead else None
    return {
        "input": channel.input if channel else None,
        "role": channel.role.value if channel else None,
        "cylinder": channel.cylinder if channel else None,
        "question": one.question.value,
        "reading": one.reading,
        "value": one.value,
        "unit": one.unit or None,
        "low": one.low,
        "high": one.high,
        "verdict": one.verdict.value,
        "meaning": one.said.meaning,
        "next": one.said.action,
    }
