"""What is connected to which input."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial

from monitor.proposal.propose import Proposal
from monitor.proposal.verdict import Sureness, Verdict
from monitor.setup import Channel, Engine, Role
from monitor.setup.model import OF_ONE_CYLINDER
from monitor.text import plain
from monitor.wizard import answers as typed
from monitor.wizard.answers import Lead
from monitor.wizard.dialogue import Answers, Misunderstood, Question, wrapped
from monitor.wizard.firing_check import cylinder_by_phase
from monitor.wizard.orders import in_words

WHAT_EACH_ADDS = """
One control and the answer line are enough. What each further lead adds:
  feed      tells a coil that did not charge from one whose answer got lost
  control   each more shows that cylinder's own calls, also a missing one
  battery   tells a low feed from a low battery
  ground    shows a bad ground at that coil
  current   a clamp round the coils' feed: shows each charge
  injector  shows whether that cylinder's fuel was cut
  marker    a push button: each press marks the moment"""
ATTENUATION = (
    "Feed, battery and injector carry 12 to 15 V, and 35 V and more in pulses: know the input's limit. "
    "A serial ADC board needs a divider and a clamp on every input. 10 means a 10:1 attenuator, 1 none."
)
CLAMP = "It stands on the clamp, often with a switch: 10 for 100 mV/A, 100 for 10 mV/A."
_CLAMP_A_PER_V = 10.0
"""Common practice, no source; it is asked for, and a charge is judged against the usual one only."""
_NAMES = {Role.SUPPLY: "feed", Role.ACKNOWLEDGEMENT: "answers"}
_USUAL = ("feed", "control", "answers")
_MOST_INPUTS = 64
DONE = Lead(None, is_end=True)


@dataclass(frozen=True, slots=True)
class Bench:
    """The inputs there are, where a source was looked at, and what they look like; none known otherwise.

    `wires` are those said beforehand; where no source was looked at, there are no others. Where nobody is asked, a
    guess is taken for nothing.
    """

    proposal: Proposal | None = None
    wires: Mapping[str, Lead] = field(default_factory=dict)
    asks: bool = True

    @property
    def inputs(self) -> tuple[str, ...]:
        """Their names; empty where they are not known."""
        return tuple(one.input for one in self.proposal.info.channels) if self.proposal else ()

    def verdict(self, name: str) -> Verdict | None:
        """What was proposed for an input."""
        names = [one.casefold() for one in self.inputs]
        if self.proposal is None or name.casefold() not in names:
            return None
        return self.proposal.verdicts[names.index(name.casefold())]

    def label(self, name: str) -> str:
        """What the source calls an input, made safe to show; empty where it is the same."""
        found = [one.label for one in self.proposal.info.channels if one.input == name] if self.proposal else []
        return plain(found[0].strip()) if found and found[0].strip().casefold() != name.casefold() else ""


def wire_questions(given: Answers, bench: Bench, engine: Engine) -> Iterator[Question]:
    """For each input: what it is on, whose that is, and what is between."""
    for place, name in enumerate(_names(bench)):
        if name not in bench.wires:
            yield _lead_question(given, bench, engine, name, place)
        lead = lead_of(given, bench, name)
        if lead.is_end:
            return
        if lead.role is not None:
            yield from _details(given, bench, engine, name, lead)


def channels(given: Answers, bench: Bench) -> tuple[Channel, ...]:
    """The wires that were described so far. Raises pydantic's ValidationError where one cannot be."""
    return tuple(_channel(given, bench, name, lead) for name, lead in _leads(given, bench) if lead.role is not None)


def lead_of(given: Answers, bench: Bench, name: str) -> Lead:
    """What was said of an input."""
    found: Lead = bench.wires.get(name) or given["lead", name]
    return found


def _names(bench: Bench) -> Iterator[str]:
    known = bench.inputs or tuple(bench.wires)
    return iter(known) if known else (f"in{n}" for n in range(1, _MOST_INPUTS + 1))


def _leads(given: Answers, bench: Bench) -> list[tuple[str, Lead]]:
    told = [*bench.wires, *(key[1] for key in given if key[0] == "lead")]
    names = [name for name in bench.inputs if name in told] or told
    return [(name, lead_of(given, bench, name)) for name in names]


def _channel(given: Answers, bench: Bench, name: str, lead: Lead) -> Channel:
    assert lead.role is not None
    whose = lead.cylinders or given.get(("whose", name), ())
    is_line = lead.role is Role.ACKNOWLEDGEMENT
    return Channel(
        input=name,
        role=lead.role,
        cylinder=None if is_line else next(iter(whose), None),
        cylinders=(whose or None) if is_line else None,
        scale=given.get(("scale", name), _scale(bench, name, lead)),
    )


def _scale(bench: Bench, name: str, lead: Lead) -> float:
    if lead.role is Role.CURRENT:
        return lead.scale or _CLAMP_A_PER_V
    verdict = bench.verdict(name)
    return lead.scale or (verdict.scale if verdict and verdict.role is lead.role else 1.0)


def _lead_question(given: Answers, bench: Bench, engine: Engine, name: str, place: int) -> Question:
    verdict, before = bench.verdict(name), WHAT_EACH_ADDS if place == 0 else ""
    if verdict is not None:
        before += f"\n{looks(bench, name, verdict)}"
    return Question(
        ("lead", name),
        f"What is {name} on?" if bench.inputs else f"What is {name} on? (done: no more)",
        _default_lead(verdict, bench, place),
        partial(_understand_lead, given, bench, engine, name),
        f"{typed.KNOWN}; with the cylinder, if you like: control 1.",
        before.lstrip("\n"),
        "" if bench.inputs else "--wire in1=feed --wire in2=control:1 --wire in3=answers",
    )


def looks(bench: Bench, name: str, verdict: Verdict) -> str:
    """What an input looks like, how surely, and why."""
    label = bench.label(name)
    role = f"{word_of(verdict.role)} ({verdict.sureness})" if verdict.role else "unknown"
    return f"{name}{f' {label}' if label else ''}: {role}\n{wrapped(verdict.because)}"


def _default_lead(verdict: Verdict | None, bench: Bench, place: int) -> str:
    if verdict is None:
        return _USUAL[place] if place < len(_USUAL) else "done"
    is_doubted = verdict.sureness is Sureness.GUESS and not bench.asks
    return word_of(None if is_doubted else verdict.role)


def word_of(role: Role | None) -> str:
    """What people call a role's wire."""
    return "none" if role is None else _NAMES.get(role, str(role))


def _understand_lead(given: Answers, bench: Bench, engine: Engine, name: str, text: str) -> Lead:
    lead = DONE if text.casefold() == "done" and not bench.inputs else typed.lead(text)
    is_last = lead.is_end or name == next(reversed(bench.inputs), "")
    told = {one.role for key, one in given.items() if key[0] == "lead"}
    if is_last and not {Role.CONTROL, Role.ACKNOWLEDGEMENT} & {*told, lead.role}:
        raise Misunderstood("no control and no answer line yet; one of them at least must be connected")
    if lead.role is not None and lead.cylinders:
        _refuse_others(given, bench, engine, name, lead.role, lead.cylinders)
    return lead


def _details(given: Answers, bench: Bench, engine: Engine, name: str, lead: Lead) -> Iterator[Question]:
    if lead.role is not None and not lead.cylinders and lead.role in {*OF_ONE_CYLINDER, Role.ACKNOWLEDGEMENT}:
        yield _whose(given, bench, engine, name, lead.role)
    if lead.scale is None:
        is_clamp = lead.role is Role.CURRENT
        text = f"Attenuation in front of {name} (10 for 10:1, 1 for none)?"
        text = f"Amperes per volt of the clamp on {name} (10 for 0.1 V/A)?" if is_clamp else text
        told = CLAMP if is_clamp else ATTENUATION
        yield Question(("scale", name), text, f"{_scale(bench, name, lead):g}", typed.scale, told)


def _whose(given: Answers, bench: Bench, engine: Engine, name: str, role: Role) -> Question:
    understand = partial(_understand_whose, given, bench, engine, name, role)
    free = _free(given, bench, engine, name, role)
    if role is Role.ACKNOWLEDGEMENT:
        default = "all" if len(free) == engine.cylinders else in_words(free)
        text = f"Which cylinders answer on {name}?"
        return Question(
            ("whose", name), text, default, understand, "all, or numbers like 1-4-6-7 on an engine with two lines."
        )
    known = {one: whose[0] for one, whose in _others(given, bench, name, role).items()}
    firing = bench.proposal.firing if bench.proposal and role is Role.CONTROL else ()
    phase = cylinder_by_phase(firing, engine, known, name)
    default = str(phase if phase in free else next(iter(free), 1))
    tells = (
        "As the samples and the order have it; see which coil the lead is on." if phase else "See which coil it is on."
    )
    needs = f"--wire {name}={word_of(role)}:1"
    return Question(("whose", name), f"Whose {role} is {name}: cylinder?", default, understand, tells, "", needs)


def _understand_whose(
    given: Answers, bench: Bench, engine: Engine, name: str, role: Role, text: str
) -> tuple[int, ...]:
    if role is Role.ACKNOWLEDGEMENT and text.casefold() == "all":
        found = tuple(range(1, engine.cylinders + 1))
    else:
        found = typed.numbers(text)
    _refuse_others(given, bench, engine, name, role, found)
    return found


def _refuse_others(
    given: Answers, bench: Bench, engine: Engine, name: str, role: Role, cylinders: tuple[int, ...]
) -> None:
    """Raise Misunderstood where a cylinder does not exist, is named twice, or has such a wire already."""
    if any(not 1 <= one <= engine.cylinders for one in cylinders) or len(set(cylinders)) != len(cylinders):
        raise Misunderstood(
            f"{in_words(cylinders)} is not right; this engine has cylinders 1 to {engine.cylinders}, each once"
        )
    if role is not Role.ACKNOWLEDGEMENT and len(cylinders) != 1:
        raise Misunderstood(f"a {role} belongs to one cylinder; type one number")
    taken = [one for one in cylinders if one not in _free(given, bench, engine, name, role)]
    if taken and role in {*OF_ONE_CYLINDER, Role.ACKNOWLEDGEMENT}:
        raise Misunderstood(f"cylinder {taken[0]} has its {word_of(role)} on another input already")


def _free(given: Answers, bench: Bench, engine: Engine, name: str, role: Role) -> tuple[int, ...]:
    """The cylinders that no other input of this role has."""
    taken = {one for whose in _others(given, bench, name, role).values() for one in whose}
    return tuple(one for one in range(1, engine.cylinders + 1) if one not in taken)


def _others(given: Answers, bench: Bench, name: str, role: Role) -> dict[str, tuple[int, ...]]:
    """Whose the other inputs of this role are, as far as that was said."""
    leads = [(one, lead) for one, lead in _leads(given, bench) if lead.role is role and one != name]
    whose = {one: lead.cylinders or given.get(("whose", one), ()) for one, lead in leads}
    return {one: cylinders for one, cylinders in whose.items() if cylinders}
