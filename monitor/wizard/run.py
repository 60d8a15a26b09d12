"""`coilcall setup` from the first question to the file."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from shlex import quote

import click
from pydantic import ValidationError

from drivers.registry import source_for
from monitor.cautions import CAUTIONS_IN_BRIEF
from monitor.proposal import Proposal, look_at, propose
from monitor.setup import Channel, Engine, Role, explain, parse_setup
from monitor.text import plain
from monitor.wizard import answers as typed
from monitor.wizard.dialogue import Answers, Misunderstood, Question, converse, say
from monitor.wizard.drawing import draw, in_letters_of
from monitor.wizard.engine_questions import engine_of, engine_questions
from monitor.wizard.firing_check import doubts
from monitor.wizard.orders import Layout
from monitor.wizard.toml_text import setup_text
from monitor.wizard.wire_questions import Bench, channels, looks, wire_questions
from monitor.wizard.writing import refuse_early, write_whole

_HIGH_VOLTS = {Role.SUPPLY, Role.BATTERY, Role.INJECTOR}


@dataclass(frozen=True, slots=True)
class Wishes:
    """What was said on the command line."""

    file: Path
    address: str | None = None
    order: str | None = None
    wires: tuple[str, ...] = ()
    is_waste_spark: bool = False
    asks: bool = True
    replaces: bool = False


def run(wishes: Wishes) -> None:
    """Ask, draw, write. Raises SetupError, click.UsageError, and what a source raises."""
    refuse_early(wishes.file, replaces=wishes.replaces or wishes.asks)
    # What is there already may be replaced once that was asked; what comes meanwhile was not asked about.
    replaces = wishes.replaces or (wishes.asks and wishes.file.exists())
    given, wires = _said(wishes)
    if wishes.asks:
        say(f"{CAUTIONS_IN_BRIEF}\n\nEnter takes the answer in brackets, ? explains, back goes back, Ctrl-C ends.")
    proposal = _looked_at(wishes.address)
    bench = Bench(proposal, _fitted(wires, proposal) if proposal else wires, wishes.asks)
    if proposal and not wishes.asks:
        told = zip(bench.inputs, proposal.verdicts, strict=True)
        say("\n".join(looks(bench, name, verdict) for name, verdict in told))
    try:
        converse(lambda known: _questions(known, bench, wishes), given, asks=wishes.asks)
    except click.Abort:
        say("\nNothing was written.")
        raise
    if not given["write"]:
        say("Nothing was written.")
        return
    engine, hooked = engine_of(given), channels(given, bench)
    text = setup_text(given["label"], engine, hooked, {name: bench.label(name) for name in bench.inputs})
    parse_setup(text, str(wishes.file))
    write_whole(wishes.file, text, replaces=replaces)
    if not wishes.asks:
        click.echo(_shown(engine, hooked, bench.proposal))
    click.echo(f"{wishes.file} is written. Next:\n  {_next(wishes, proposal)}")


def _said(wishes: Wishes) -> tuple[Answers, dict[str, typed.Lead]]:
    """What the options answer. Raises click.UsageError."""
    given: Answers = {}
    try:
        if wishes.order is not None:
            count = len(wishes.order) if wishes.order.isdigit() else len(typed.numbers(wishes.order))
            order = typed.firing_order(count)(wishes.order)
            given |= {"layout": Layout("", len(order), (order,)), "order": order}
        wires = typed.wires(wishes.wires)
    except Misunderstood as error:
        raise click.UsageError(str(error)) from None
    if wishes.is_waste_spark:
        given["waste_spark"] = True
    return given, wires


def _looked_at(address: str | None) -> Proposal | None:
    if address is None:
        return None
    say(f"Looking at {address} ...")
    look = look_at(source_for(address))
    say(f"{look.duration_s:.1f} s seen.")
    return propose(look)


def _fitted(wires: dict[str, typed.Lead], proposal: Proposal) -> dict[str, typed.Lead]:
    """The wires by the source's own names. Raises click.UsageError for an input that is not there."""
    known = {text.strip().casefold(): one.input for one in proposal.info.channels for text in (one.label, one.input)}
    for name in wires:
        if name.casefold() not in known:
            there = ", ".join(one.input for one in proposal.info.channels)
            raise click.UsageError(f"--wire: {plain(name)} is not in {proposal.info.source}; it has {there}")
    return {known[name.casefold()]: lead for name, lead in wires.items()}


def _questions(given: Answers, bench: Bench, wishes: Wishes) -> Iterator[Question]:
    yield from engine_questions(given, bench.proposal.coils if bench.proposal else None)
    engine = _engine(given)
    yield from wire_questions(given, bench, engine)
    try:
        shown = _shown(engine, channels(given, bench), bench.proposal)
    except ValidationError as error:
        raise click.UsageError(explain(error)) from None
    exists = "it is there already and will be replaced" if wishes.file.exists() else "a new file"
    is_meant = wishes.replaces or not wishes.file.exists()
    yield Question(
        "write",
        f"Write {wishes.file} ({exists})?",
        "yes" if is_meant else "no",
        typed.yes_or_no,
        "no ends without writing anything.",
        f"\n{shown}\n",
    )


def _engine(given: Answers) -> Engine:
    try:
        return engine_of(given)
    except ValidationError as error:
        raise click.UsageError(explain(error)) from None


def _shown(engine: Engine, hooked: tuple[Channel, ...], proposal: Proposal | None) -> str:
    """The drawing, and what to think of before a lead is put on."""
    notes = [*doubts(proposal, engine, hooked)] if proposal else []
    bare = [one.input for one in hooked if one.role in _HIGH_VOLTS and one.scale == 1.0]
    if bare:
        notes.append(
            f"{', '.join(bare)}: 12 to 15 V, in pulses 35 V and more, and no attenuator: is the input made for that?"
        )
    encoding = sys.stdout.encoding or "ascii"
    wrapped = [in_letters_of(encoding, click.wrap_text(one, 78, "! ", "  ")) for one in notes]
    return "\n".join([draw(engine, hooked, encoding), *wrapped])


def _next(wishes: Wishes, proposal: Proposal | None) -> str:
    command = "analyze" if proposal and not proposal.info.is_live else "check"
    address = quote(wishes.address) if wishes.address else "ADDRESS"
    return f"coilcall {command} {address} --setup {quote(str(wishes.file))}"
