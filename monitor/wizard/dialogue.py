"""One question after the other: a default for each, help, a way back, and no answer taken that cannot be meant."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import click

Key = str | tuple[str, str]
Answers = dict[Key, Any]


class Misunderstood(ValueError):
    """An answer that cannot be meant; the text says what would be right."""


@dataclass(frozen=True, slots=True)
class Question:
    """What to ask. `understand` turns what was typed into the answer kept under `key`, or raises Misunderstood.

    `before` is shown above it. `needs` is the option that answers it where nobody can be asked; empty where the default
    will do.
    """

    key: Key
    text: str
    default: str
    understand: Callable[[str], Any]
    help: str
    before: str = ""
    needs: str = ""


_KEYS = "Enter takes what stands in brackets, back goes one question back, Ctrl-C ends."

Stream = Callable[[Answers], Iterator[Question]]
"""All questions in order, given what was answered; read only up to the first that was not."""


class Back(Exception):
    """One question back."""


def converse(stream: Stream, answers: Answers, *, asks: bool) -> None:
    """Fill `answers` until no question is left; where nobody is asked, by the defaults.

    Raises click.Abort when the person breaks off, click.UsageError where an answer is needed and nobody can be asked.
    """
    asked: list[Key] = []
    while (question := _pending(stream, answers)) is not None:
        if not asks:
            answers[question.key] = _default(question)
            continue
        try:
            answers[question.key] = _ask(question)
            asked.append(question.key)
        except Back:
            if asked:
                del answers[asked.pop()]
            else:
                say("This is the first question.")


def say(text: str) -> None:
    """What is told to the person and is no result: on stderr."""
    click.echo(text, err=True)


def wrapped(text: str, indent: str = "  ") -> str:
    """Words set in, on lines that fit the narrowest screen."""
    return click.wrap_text(text, 79, indent, indent)


def _pending(stream: Stream, answers: Answers) -> Question | None:
    return next((one for one in stream(answers) if one.key not in answers), None)


def _default(question: Question) -> Any:  # noqa: ANN401  whatever the question is about
    if question.needs:
        raise click.UsageError(f"{question.text} Give {question.needs}, or answer on a terminal")
    try:
        return question.understand(question.default)
    except Misunderstood as error:
        raise click.UsageError(str(error)) from None


def _ask(question: Question) -> Any:  # noqa: ANN401
    if question.before:
        say(question.before)
    shown = f" [{question.default}]" if question.default else ""
    while True:
        typed = click.prompt(f"{question.text}{shown}", "", show_default=False, prompt_suffix=" ", err=True).strip()
        if typed == "?":
            say(wrapped(f"{question.help} {_KEYS}"))
        elif typed.casefold() == "back":
            raise Back
        else:
            try:
                return question.understand(typed or question.default)
            except Misunderstood as error:
                say(wrapped(str(error)))
