"""A pattern that was found, with the facts that its rule's text is filled with."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.bands import concentration
from monitor.findings.evidence import Coil, Evidence
from monitor.findings.finding import Confidence
from monitor.flags import Kind, Severity

_ENOUGH = 3


@dataclass(frozen=True, slots=True)
class Match:
    """How sure, on which coils (none where no coil is meant), and what the text may name."""

    confidence: Confidence
    coils: tuple[Coil, ...] = ()
    facts: Mapping[str, object] = field(default_factory=dict)


def sureness(events: int, *, is_proven: bool) -> Confidence:
    """Once is possible, twice is likely, from three times on it is firm if nothing else explains it."""
    if events < 2:
        return Confidence.POSSIBLE
    return Confidence.FIRM if is_proven and events >= _ENOUGH else Confidence.LIKELY


def times(count: int) -> str:
    """`once`, `twice`, `1,234 times`."""
    return {1: "once", 2: "twice"}.get(count, f"{count:,} times")


def listed(words: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def cylinders(coils: tuple[Coil, ...]) -> str:
    """`cylinder 4`, `cylinders 1 and 4`, `cylinders 1 to 6`."""
    numbers = sorted(one for coil in coils for one in coil.cylinders)
    if len(numbers) > 3 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"cylinders {numbers[0]} to {numbers[-1]}"
    return f"cylinder{'s' * (len(numbers) > 1)} {listed([str(number) for number in numbers])}"


def coil_of(coil: Coil) -> str:
    """`coil 4`, or `the coil of cylinders 1 and 4` where they share one."""
    return f"coil {coil.cylinders[0]}" if len(coil.cylinders) == 1 else f"the coil of {cylinders((coil,))}"


def facts_of(coil: Coil) -> dict[str, object]:
    """What every text on one coil may name."""
    called = "it was called each time" if coil.is_called else "its call is not connected"
    return {"coil": coil_of(coil), "cylinder": cylinders((coil,)), "turns": f"{coil.turns:,}", "called": called}


def story(evidence: Evidence, coils: tuple[Coil, ...]) -> str:
    """What the controller made of the misses, and what came with them: told apart from the fault itself."""
    return "".join(filter(None, (part for coil in coils for part in _parts(evidence, coil))))


def _parts(evidence: Evidence, coil: Coil) -> list[str | None]:
    return [_stop(coil), _injector(evidence, coil), _drift(evidence, coil), _where(evidence, coil)]


def _stop(coil: Coil) -> str | None:
    stop = coil.stop
    if stop is None:
        return None
    return (
        f" Then, a second thing: after {stop.misses} misses in a row from {stop.first_s:.1f} s on the controller "
        f"stopped calling {coil_of(coil)} at {stop.at_s:.1f} s ({coil.given_up:,} turns so far). That is its reply to "
        f"the misses and not the fault."
    )


def _injector(evidence: Evidence, coil: Coil) -> str | None:
    off = evidence.on(coil, Kind.INJECTOR_OFF, least=Severity.FAULT)
    return f" Its fuel was cut as well ({off[0].detail}); that is the controller's reply too." if off else None


def _drift(evidence: Evidence, coil: Coil) -> str | None:
    drift = evidence.on(coil, Kind.ACKNOWLEDGEMENT_DRIFT, least=Severity.INFO)
    return f" Its answers had changed as well: {drift[0].detail}." if drift else None


def _where(evidence: Evidence, coil: Coil) -> str | None:
    """Speeds or feed voltages that the misses keep to; asked only of coils that missed often enough to tell."""
    if coil.misses < _ENOUGH:
        return None
    questions = 2 * len(evidence.coils)
    bands = ((coil.by_speed, "rpm"), (coil.by_supply, "V"))
    found = [concentration(by, unit, questions) for by, unit in bands if by is not None]
    return "".join(f" It comes {place}." for place in found if place)


def codes(coils: tuple[Coil, ...], kind: str) -> str:
    """Trouble codes that may stand beside a finding (numbering of SAE J2012 / ISO 15031-6); codes end at cylinder 12.

    `kind` "misfire" gives P030n, "circuit" adds P035n, "control" adds P2300 + 3(n - 1) and the next one; misfires
    of several coils are P0300.
    """
    numbers = [one for coil in coils for one in coil.cylinders if one <= 12]
    if kind == "misfire" and (len(coils) > 1 or not coils):
        return "P0300"
    found = [f"P{300 + n:04}" for n in numbers]
    if kind in ("circuit", "control"):
        found += [f"P{350 + n:04}" for n in numbers]
    if kind == "control":
        found += [f"P{2300 + 3 * (n - 1) + level}" for n in numbers for level in (0, 1)]
    return ", ".join(found)
