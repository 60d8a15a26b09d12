"""What several commands share: options, and what they ask of their surroundings."""

import math
import os
import re
from pathlib import Path
from typing import Any

import click

from drivers.address import exists
from monitor.alerts import ALERTS_VARIABLE, alerts_of
from monitor.cautions import CAUTIONS
from monitor.terminal import can_draw

_PREFIXES = {
    f"{prefix}{binary}": base**power
    for power, prefix in enumerate("kMGT", 1)
    for binary, base in (("", 1000), ("i", 1024))
}

CAUTIONS_AS_THEY_STAND = f"\b\n{CAUTIONS}"

setup_option = click.option(
    "--setup",
    "setup_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The set-up file: which engine, and what is connected to which input. Without it, the set-up that came with "
    "the samples is used.",
)
rate_option = click.option(
    "--rate", "rate_hz", type=float, metavar="HZ", help="Samples a second, for files that do not say."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the table.")


def _choose_alerts(_: click.Context, param: click.Parameter, value: str | None) -> None:
    if value is None:
        return
    try:
        alerts_of(value)
    except ValueError as error:
        raise click.BadParameter(str(error), param=param) from error
    os.environ[ALERTS_VARIABLE] = value


alerts_option = click.option(
    "--alerts",
    metavar="LIST",
    envvar=ALERTS_VARIABLE,
    show_envvar=True,
    callback=_choose_alerts,
    expose_value=False,
    help="How to call for attention when a fault is new: title, bell, notification, with commas between, or none. "
    "Otherwise title and bell, and a notification where the terminal is known to show one.",
)


class Finite(click.FloatRange):
    """A number within bounds; unlike click's own, not a number is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401  as inherited
        """Understand what was typed, or fail with one line."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number


class Size(click.ParamType):  # type: ignore[type-arg]  # takes arguments only in click's later releases
    """So many bytes on a disk: a number and its unit."""

    name = "size"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401  as inherited
        """Understand what was typed, or fail with one line."""
        if isinstance(value, float):  # the default
            return value
        typed = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([kMGT]i?)B?\s*", value)
        size = float(typed[1]) * _PREFIXES[typed[2]] if typed else 0.0
        if not size:
            self.fail(f"{value!r} is no size; a number above 0 and its unit would be right: 500MB, 20GB.", param, ctx)
        return size


def rated(recording: str, rate_hz: float | None) -> str:
    """The recording's address, with the rate that its file does not say."""
    if rate_hz is None:
        return recording
    has_query = "?" in recording and not exists(recording)
    return f"{recording}{'&' if has_query else '?'}rate={rate_hz!r}"


def needs_terminal(instead: str) -> None:
    """Refuse to draw a command's screen where there is none, and say what does without. Raises click.UsageError."""
    if not can_draw():
        command = click.get_current_context().info_name
        raise click.UsageError(f"{command} draws a screen and needs a terminal; {instead}")
