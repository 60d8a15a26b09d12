"""Patterns of what several coils share: the feed, the acknowledgement line, the measurement; and of nothing wrong."""

from collections.abc import Iterator

from monitor.findings.coils import drew_current, usual_sag_v
from monitor.findings.evidence import Coil, Evidence, Line
from monitor.findings.finding import Confidence
from monitor.findings.match import Match, cylinders, sureness, times
from monitor.flags import Kind, Severity

_FEED_LOSS_V = 1.0
"""Twice the 0.5 V within which the feed should be of the battery with the key on (service literature)."""
_ENOUGH_TURNS = 60
"""Turns of each cylinder without a miss that are worth a word: they put its rate below 5 % (rule of three)."""
_BAD, _POOR, _DOUBTFUL = 0.05, 0.01, 0.001
"""Part of the recording not observed from which on all findings are in doubt, a clean record is, and it is said."""
_IN_DOUBT = (Kind.SAMPLING_TOO_SLOW, Kind.CLIPPED_INPUT)
_NO_FAULT = {*_IN_DOUBT, Kind.LOST_SAMPLES, Kind.POSITION_LOST, Kind.STRAY_ACKNOWLEDGEMENT}


def unobserved(evidence: Evidence) -> float:
    """Part of the turns, or of the time, that could not be observed; the larger."""
    turns = sum(coil.turns + coil.unobserved for coil in evidence.coils)
    lost = sum(coil.unobserved for coil in evidence.coils)
    return max(1.0 - evidence.coverage, lost / turns if turns else 0.0)


def is_in_doubt(evidence: Evidence) -> bool:
    """Whether the measurement is so poor that everything else is less sure."""
    return bool(evidence.of(*_IN_DOUBT)) or unobserved(evidence) > _BAD


def measurement(evidence: Evidence) -> Iterator[Match]:
    """Lost samples, an input out of range, too few samples, turns that nobody could name."""
    seen = evidence.of(*_IN_DOUBT, Kind.LOST_SAMPLES)
    part = unobserved(evidence)
    if not seen and part <= _DOUBTFUL:
        return
    parts = [f"{one.kind} {times(one.flags)} ({one.detail})" for one in seen]
    told = {"what": "; ".join([*parts, f"{part:.2%} of it could not be observed"])}
    yield Match(Confidence.FIRM if is_in_doubt(evidence) else Confidence.LIKELY, (), told)


def dropout(evidence: Evidence) -> Iterator[Match]:
    """The feed is gone for a moment."""
    for one in evidence.of(Kind.SUPPLY_DROPOUT):
        struck = tuple(coil for coil in evidence.coils if coil.without_feed)
        lost = sum(coil.without_feed for coil in struck)
        told = f"{lost:,} answers of {cylinders(struck)} went missing with it" if lost else "no answer was lost with it"
        facts = {"times": times(one.times), "detail": one.detail, "lost": told, "then": given_up(struck)}
        yield Match(sureness(one.times + lost, is_proven=lost > 0), (), facts)


def feed_loss(evidence: Evidence) -> Iterator[Match]:
    """The feed stands below the battery between firings, where nothing is drawn."""
    loss_v = evidence.feed_loss_v
    if loss_v is not None and loss_v > _FEED_LOSS_V:
        for one in evidence.of(Kind.SUPPLY_LOW):
            yield Match(sureness(one.times, is_proven=True), (), {"loss_v": f"{loss_v:.1f}", "times": times(one.times)})


def supply_low(evidence: Evidence) -> Iterator[Match]:
    """The feed is low while the engine runs, and the battery with it or not connected."""
    for one in evidence.of(Kind.SUPPLY_LOW):
        if evidence.feed_loss_v is None or evidence.feed_loss_v <= _FEED_LOSS_V:
            is_proven = evidence.feed_loss_v is not None
            yield Match(sureness(one.times, is_proven=is_proven), (), {"detail": one.detail})


def held_low(evidence: Evidence) -> Iterator[Match]:
    """The line stays low longer than any answer lasts."""
    for line in evidence.lines:
        held = [one for one in evidence.of(Kind.ACKNOWLEDGEMENT_HELD_LOW) if one.input == line.input]
        if held:
            lost = sum(coil.line_low + coil.with_all for coil in _on(evidence, line))
            facts = facts_of(evidence, line) | {"times": times(held[0].flags), "lost": f"{lost:,}"}
            yield Match(sureness(lost, is_proven=True), (), facts)


def silent(evidence: Evidence) -> Iterator[Match]:
    """Nobody on the line answers, it rests high, and the coils draw current as far as that can be seen."""
    for line, drew in _silences(evidence):
        if drew is not False:
            current = "they went on drawing their charging current" if drew else "whether they charged is not known"
            confidence = sureness(line.silent, is_proven=bool(drew))
            yield Match(confidence, (), facts_of(evidence, line) | {"current": current})


def all_dead(evidence: Evidence) -> Iterator[Match]:
    """Nobody on the line answers, and nobody draws current though called."""
    for line, drew in _silences(evidence):
        if drew is False:
            yield Match(sureness(line.silent, is_proven=True), (), facts_of(evidence, line))


def _silences(evidence: Evidence) -> Iterator[tuple[Line, bool | None]]:
    held = {one.input for one in evidence.of(Kind.ACKNOWLEDGEMENT_HELD_LOW)}
    for line in evidence.lines:
        if line.silent and line.input not in held:
            yield line, drew_current(line.silent_sag_v, line.silent_current_a, usual_sag_v(evidence))


def facts_of(evidence: Evidence, line: Line) -> dict[str, object]:
    """What every text on one line may name."""
    coils = _on(evidence, line)
    never = all(coil.misses == coil.turns for coil in coils)
    return {
        "line": line.input,
        "cylinders": cylinders(coils),
        "silent": f"{line.silent:,}",
        "since": f"from {line.since_s or 0.0:.1f} s on",
        "never": " No answer was ever seen here: check first that the measuring lead is on the line." if never else "",
        "then": given_up(coils) + _ended(evidence, line),
    }


def _on(evidence: Evidence, line: Line) -> tuple[Coil, ...]:
    return tuple(coil for coil in evidence.coils if coil.line == line.input)


def given_up(coils: tuple[Coil, ...]) -> str:
    """Whom the controller stopped calling after such misses."""
    stopped = tuple(coil for coil in coils if coil.stop is not None)
    if not stopped:
        return ""
    return f" Then the controller stopped calling {cylinders(stopped)}: its reply to the misses and not the fault."


def _ended(evidence: Evidence, line: Line) -> str:
    """All calls ended, after the line had fallen silent."""
    cut = [one for one in evidence.of(Kind.ALL_CUT, least=Severity.INFO) if one.is_open]
    if not cut or line.since_s is None or cut[0].latest_s < line.since_s:
        return ""
    return f" Then, at {cut[0].latest_s:.1f} s, all calls ended: the controller's reply, or the engine stopped."


def rests_wrong(evidence: Evidence) -> Iterator[Match]:
    """The line does not rest near 5 V, and is not held low either."""
    if not evidence.of(Kind.ACKNOWLEDGEMENT_HELD_LOW):
        for one in evidence.of(Kind.ACKNOWLEDGEMENT_REST_LEVEL):
            yield Match(sureness(one.times, is_proven=True), (), {"times": times(one.times), "detail": one.detail})


def strays(evidence: Evidence) -> Iterator[Match]:
    """Answers that nobody called for."""
    for one in evidence.of(Kind.STRAY_ACKNOWLEDGEMENT):
        facts = {"times": times(one.times), "detail": one.detail, "line": one.input or "the line"}
        yield Match(sureness(one.times, is_proven=False), (), facts)


def cleared(evidence: Evidence) -> Iterator[Match]:
    """Every firing answered, over enough turns to say how rare a miss could still be."""
    coils = tuple(coil for coil in evidence.coils if coil.is_answering)
    if coils and _is_faultless(evidence):
        yield from _none_missed(evidence, coils)


def calls_only(evidence: Evidence) -> Iterator[Match]:
    """Every cylinder was called; no line shows whether the coils answered."""
    if _is_faultless(evidence) and not any(coil.is_answering for coil in evidence.coils):
        yield from _none_missed(evidence, evidence.coils)


def _is_faultless(evidence: Evidence) -> bool:
    return not any(coil.misses for coil in evidence.coils) and _raised(evidence) <= _NO_FAULT


def _raised(evidence: Evidence) -> set[Kind]:
    return {one.kind for one in evidence.seen if one.severity is not Severity.INFO}


def _none_missed(evidence: Evidence, coils: tuple[Coil, ...]) -> Iterator[Match]:
    """The rule of three: none in n turns means less often than 3 in n, with 95 % confidence."""
    least = min((coil.turns for coil in coils), default=0)
    if least < _ENOUGH_TURNS:
        return
    confidence = Confidence.FIRM if least >= 1000 else Confidence.LIKELY if least >= 200 else Confidence.POSSIBLE
    doubts = evidence.of(Kind.STRAY_ACKNOWLEDGEMENT, Kind.ACKNOWLEDGEMENT_DRIFT, least=Severity.INFO)
    is_spoilt = bool(doubts) or unobserved(evidence) > _POOR
    facts = {
        "turns": f"{sum(coil.turns for coil in coils):,}",
        "least": f"{least:,}",
        "cylinders": cylinders(coils),
        "bound": f"{3.0 / least:.2%}",
        "once_in": f"{least // 3:,}",
    }
    yield Match(confidence.weaker(is_spoilt), (), facts)
