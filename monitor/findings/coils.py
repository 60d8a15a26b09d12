"""Patterns of single coils: misses alone, not called, levels of its own wires."""

from collections.abc import Iterator
from dataclasses import replace
from statistics import median

from monitor.findings.evidence import Coil, Evidence
from monitor.findings.finding import Confidence
from monitor.findings.match import Match, cylinders, facts_of, listed, story, sureness, times
from monitor.flags import Kind, Severity
from monitor.naming import named_alone

_VISIBLE_SAG_V = 0.15
"""A feed that falls by less while a coil charges is too stiff to show it."""
_DREW, _DREW_NOT = 0.7, 0.4
"""Fall of the feed in a missed turn, as a part of the usual one, from and up to which current flowed, or did not."""
_CHARGED_A, _IDLE_A = 3.0, 0.5
"""The same on a current clamp: coils answer from 2 A on or beyond and are charged to 6 A and more."""
_OF_THE_FEED = {Kind.SUPPLY_SAG, Kind.DWELL_SHORT, Kind.DWELL_LONG}
"""What is judged by the feed's level."""
_A_SHARE = 0.1
"""Part of all misses from which on a coil counts among several (13 CCR 1968.2 (e)(3.1.3))."""


def usual_sag_v(evidence: Evidence, besides: Coil | None = None) -> float | None:
    """Median fall of the feed over the coils, leaving one out where others are left."""
    known = [(coil, coil.sag_v) for coil in evidence.coils if coil.sag_v is not None]
    others = [sag_v for coil, sag_v in known if coil is not besides] or [sag_v for _, sag_v in known]
    return median(others) if others else None


def drew_current(missed_v: float | None, missed_a: float | None, usual_v: float | None) -> bool | None:
    """Whether the coils drew their charging current though they did not answer; None where it cannot be told."""
    if missed_a is not None and not _IDLE_A < missed_a < _CHARGED_A:
        return missed_a >= _CHARGED_A
    if missed_v is None or usual_v is None or usual_v < _VISIBLE_SAG_V:
        return None
    part = missed_v / usual_v
    return None if _DREW_NOT < part < _DREW else part >= _DREW


def _missing(evidence: Evidence, *, drew: bool | None, seen: bool | None = None) -> Iterator[Match]:
    """Coils that miss alone, whose current shows `drew` and whose call is connected (`seen`) or not."""
    for coil in evidence.coils:
        usual_v = usual_sag_v(evidence, coil)
        shows = drew_current(coil.missed_sag_v, coil.missed_current_a, usual_v)
        if not coil.alone or not coil.is_answering or shows is not drew or seen not in (None, coil.is_called):
            continue
        sure = sureness(coil.alone, is_proven=drew is not None and (coil.is_called or drew))
        yield Match(
            sure.weaker(_doubts(evidence, coil)),
            (coil,),
            facts_of(coil)
            | {"misses": f"{coil.alone:,}", "current": _current(coil, usual_v), "story": story(evidence, (coil,))},
        )


def _doubts(evidence: Evidence, coil: Coil) -> int:
    """Steps by which another explanation weakens this coil's own: others miss too, or its charge is spoilt."""
    misses = {one.cylinders: one.alone for one in evidence.coils}
    is_one_of_several = sum(misses.values()) > 0 and named_alone(misses) != coil.cylinders
    spoilt = evidence.on(coil, Kind.DWELL_SHORT, Kind.CONTROL_LEVEL, Kind.GROUND_RISE, Kind.SUPPLY_SAG)
    return is_one_of_several + (sum(one.times for one in spoilt) > coil.feed_gone)


def _current(coil: Coil, usual_v: float | None) -> str:
    if coil.missed_current_a is not None:
        return f"{coil.missed_current_a:.1f} A in the missed turns"
    if coil.missed_sag_v is None or usual_v is None:
        return "not measured in the missed turns"
    return f"the feed fell by {coil.missed_sag_v:.2f} V in the missed turns, {usual_v:.2f} V is usual"


def branch(evidence: Evidence) -> Iterator[Match]:
    """Misses alone, and the charging current flowed."""
    return _missing(evidence, drew=True)


def no_current(evidence: Evidence) -> Iterator[Match]:
    """Called, misses alone, and no charging current flowed."""
    return _missing(evidence, drew=False, seen=True)


def no_current_unseen(evidence: Evidence) -> Iterator[Match]:
    """Misses alone, no charging current flowed, and whether it was called is not connected."""
    return _missing(evidence, drew=False, seen=False)


def called_unknown(evidence: Evidence) -> Iterator[Match]:
    """Called, misses alone; nothing shows the current."""
    return _missing(evidence, drew=None, seen=True)


def unseen_unknown(evidence: Evidence) -> Iterator[Match]:
    """Misses alone; neither call nor current can be seen."""
    return _missing(evidence, drew=None, seen=False)


def some(evidence: Evidence) -> Iterator[Match]:
    """Two or more coils miss, each by itself, none may be named alone, and others do not miss."""
    return _several(evidence, everyone=False)


def every(evidence: Evidence) -> Iterator[Match]:
    """Every coil misses, each by itself, and none may be named alone."""
    return _several(evidence, everyone=True)


def _several(evidence: Evidence, *, everyone: bool) -> Iterator[Match]:
    total = sum(coil.alone for coil in evidence.coils)
    who = tuple(coil for coil in evidence.coils if coil.alone > _A_SHARE * total)
    if len(who) < 2 or named_alone({coil.cylinders: coil.alone for coil in evidence.coils}) is not None:
        return
    if all(coil.alone for coil in evidence.coils) is not everyone:
        return
    shares = listed([f"{coil.alone:,} on {cylinders((coil,))}" for coil in who])
    confidence = sureness(min(coil.alone for coil in who), is_proven=False)
    yield Match(confidence, who, {"cylinders": cylinders(who), "shares": shares})


def not_called(evidence: Evidence) -> Iterator[Match]:
    """The controller leaves a coil out while others are called, without misses before."""
    for coil in evidence.coils:
        count = coil.uncalled - coil.given_up
        if count > 0:
            told = {"misses": f"{count:,}", "story": story(evidence, (replace(coil, stop=None),))}
            yield Match(sureness(count, is_proven=True), (coil,), facts_of(coil) | told)


def drifting(evidence: Evidence) -> Iterator[Match]:
    """A coil whose answers changed while none was missed."""
    for coil in evidence.coils:
        for one in evidence.of(Kind.ACKNOWLEDGEMENT_DRIFT, least=Severity.INFO):
            if one.cylinder in coil.cylinders and not coil.misses:
                yield Match(Confidence.POSSIBLE, (coil,), facts_of(coil) | {"detail": one.detail})


def of_one(evidence: Evidence, *kinds: Kind) -> Iterator[Match]:
    """Coils flagged with one of these kinds while most are not."""
    hit = flagged(evidence, *kinds)
    if is_most(evidence, hit):
        return
    for coil in hit:
        seen = evidence.on(coil, *kinds)
        count = sum(one.times for one in seen)
        told = {"times": times(count), "detail": seen[-1].detail}
        yield Match(sureness(count, is_proven=not _is_spoilt(evidence, kinds)), (coil,), facts_of(coil) | told)


def of_most(evidence: Evidence, *kinds: Kind) -> Iterator[Match]:
    """Most coils flagged with one of these kinds."""
    hit = flagged(evidence, *kinds)
    if is_most(evidence, hit):
        seen = [one for coil in hit for one in evidence.on(coil, *kinds)]
        count = sum(one.times for one in seen)
        told = {"times": times(count), "cylinders": cylinders(hit), "detail": seen[-1].detail}
        yield Match(sureness(count, is_proven=not _is_spoilt(evidence, kinds)), hit, told)


def flagged(evidence: Evidence, *kinds: Kind) -> tuple[Coil, ...]:
    """Coils with such a flag; a fall of the feed that was a dropout is none."""
    return tuple(
        coil for coil in evidence.coils if sum(one.times for one in evidence.on(coil, *kinds)) > _gone(coil, kinds)
    )


def _gone(coil: Coil, kinds: tuple[Kind, ...]) -> int:
    """Turns in which a missing feed explains such a flag."""
    return coil.feed_gone if set(kinds) <= _OF_THE_FEED else 0


def _is_spoilt(evidence: Evidence, kinds: tuple[Kind, ...]) -> bool:
    """Whether these are judged by a feed that was gone at times."""
    return set(kinds) <= _OF_THE_FEED and bool(evidence.of(Kind.SUPPLY_DROPOUT))


def is_most(evidence: Evidence, hit: tuple[Coil, ...]) -> bool:
    """Whether these are so many that what they share is at fault."""
    return len(hit) > 1 and 2 * len(hit) >= len(evidence.coils)
