"""The tests behind the patterns that the table of rules names."""

from collections.abc import Callable, Iterable, Mapping

from monitor.findings import coils, shared
from monitor.findings.evidence import Evidence
from monitor.findings.match import Match
from monitor.flags import Kind

Pattern = Callable[[Evidence], Iterable[Match]]


def _one(*kinds: Kind) -> Pattern:
    return lambda evidence: coils.of_one(evidence, *kinds)


def _most(*kinds: Kind) -> Pattern:
    return lambda evidence: coils.of_most(evidence, *kinds)


PATTERNS: Mapping[str, Pattern] = {
    "measurement": shared.measurement,
    "dropout": shared.dropout,
    "feed_sags": _most(Kind.SUPPLY_SAG),
    "one_sags": _one(Kind.SUPPLY_SAG),
    "feed_loss": shared.feed_loss,
    "supply_low": shared.supply_low,
    "held_low": shared.held_low,
    "silent": shared.silent,
    "all_dead": shared.all_dead,
    "rests_wrong": shared.rests_wrong,
    "all_pull_weakly": _most(Kind.ACKNOWLEDGEMENT_LOW_LEVEL),
    "strays": shared.strays,
    "some": coils.some,
    "every": coils.every,
    "branch": coils.branch,
    "no_current": coils.no_current,
    "no_current_unseen": coils.no_current_unseen,
    "called_unknown": coils.called_unknown,
    "unseen_unknown": coils.unseen_unknown,
    "not_called": coils.not_called,
    "ground_one": _one(Kind.GROUND_RISE),
    "ground_most": _most(Kind.GROUND_RISE),
    "pulls_weakly": _one(Kind.ACKNOWLEDGEMENT_LOW_LEVEL),
    "control_level": _one(Kind.CONTROL_LEVEL),
    "control_levels": _most(Kind.CONTROL_LEVEL),
    "dwell_one": _one(Kind.DWELL_SHORT, Kind.DWELL_LONG),
    "dwell_most": _most(Kind.DWELL_SHORT, Kind.DWELL_LONG),
    "drifting": coils.drifting,
    "cleared": shared.cleared,
    "calls_only": shared.calls_only,
}
