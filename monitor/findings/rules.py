"""The table of rules, and what it says of a recording."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from monitor.findings.evidence import Evidence
from monitor.findings.finding import Finding
from monitor.findings.match import Match, codes
from monitor.findings.patterns import PATTERNS
from monitor.findings.shared import is_in_doubt

_CAUTION = "Key off to connect; stay clear of the secondary side, it carries tens of kV. "
_CODES = " Trouble codes that may stand beside it: {}."


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of rules.toml, where the fields are explained."""

    name: str
    pattern: str
    reason: str
    suspect: str
    because: str
    next: str
    codes: str = ""
    probe: bool = False

    def found(self, evidence: Evidence, steps: int) -> list[Finding]:
        """What this rule has to say, each `steps` less sure."""
        return [self._say(match, evidence, steps) for match in PATTERNS[self.pattern](evidence)]

    def _say(self, match: Match, evidence: Evidence, steps: int) -> Finding:
        facts = {"limits": evidence.limits, **match.facts}
        suspect, because, after = (text.format_map(facts) for text in (self.suspect, self.because, self.next))
        numbers = codes(match.coils, self.codes) if self.codes else ""
        return Finding(
            suspect,
            because + (_CODES.format(numbers) if numbers else ""),
            (_CAUTION if self.probe else "") + after,
            match.confidence.weaker(steps),
        )


@cache
def rules() -> tuple[Rule, ...]:
    """All rows of the table, in its order."""
    text = files("monitor.findings").joinpath("rules.toml").read_text(encoding="utf-8")
    return tuple(Rule(**row) for row in tomllib.loads(text)["rule"])


def findings(evidence: Evidence) -> tuple[Finding, ...]:
    """Where to look, the surest first; equally sure ones in the order of the table. Nothing where nothing is known."""
    steps = int(is_in_doubt(evidence))
    found = [
        finding for rule in rules() for finding in rule.found(evidence, 0 if rule.pattern == "measurement" else steps)
    ]
    return tuple(sorted(found, key=lambda finding: finding.confidence.rank))
