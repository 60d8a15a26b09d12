"""Dialects: a TOML file that says in an instrument's own commands what we want of it.

Commands may hold {input} (one of the inputs' names), {inputs} (all that are used, joined by commas), {rate_hz},
{interval_s}, {range_v} (the largest voltage either way), {span_v} (twice that) and {samples}. Every table and key is
described here; dialects/ holds the one for SCPI-1999 and an example that streams.
"""

import string
import tomllib
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from acquire.errors import AddressError, FormatError, one_line

WORDS = frozenset({"input", "inputs", "rate_hz", "interval_s", "range_v", "span_v", "samples"})
STANDARD = "standard"


def _command(text: str) -> str:
    if not (text.strip() and text.isascii() and text.isprintable()):
        raise ValueError("a command is one line of printable ASCII")
    for _, word, form, conversion in string.Formatter().parse(text):
        if word is not None and (word not in WORDS or form or conversion):
            raise ValueError(f"{{{word}}} is not one of {', '.join(sorted(WORDS))}")
    return text


Command = Annotated[str, AfterValidator(_command)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Message(_Table):
    """What ends a line, each way."""

    write_termination: str = "\n"
    read_termination: Annotated[str, Field(min_length=1)] = "\n"


class Setting(_Table):
    """Commands that set something, for each input where they hold {input}; a query that says what it has become."""

    set: tuple[Command, ...] = ()
    ask: Command | None = None


class Range(Setting):
    """The input range. The answer is what `answer` says."""

    answer: Literal["range_v", "span_v"] = "range_v"


class Rate(Setting):
    """The sample rate. The answer is what `answer` says."""

    answer: Literal["rate_hz", "interval_s"] = "rate_hz"


class Inputs(_Table):
    """The inputs' names as the instrument has them, and the commands that choose those that are used."""

    names: Annotated[tuple[str, ...], Field(min_length=1)]
    select: tuple[Command, ...] = ()


class Data(_Table):
    """Samples on the wire. `header` none: nothing but the data, whose length must be known (frames)."""

    type: Literal["int8", "int16", "int32", "uint8", "uint16", "real32", "real64"]
    byte_order: Literal["little", "big"] = "big"
    layout: Literal["interleaved", "one-after-another"] = "interleaved"
    header: Literal["block", "none"] = "block"
    termination: str = "\n"
    """What stands after the data; empty where nothing does."""


class Scale(_Table):
    """Counts to volts, for integers: volts = (count - zero_count) * volts_per_count + offset_v.

    Either full_scale_count, which is counts from zero to range_v; or queries for volts_per_count and offset_v.
    """

    full_scale_count: Annotated[float, Field(gt=0)] | None = None
    zero_count: float = 0.0
    volts_per_count: Command | None = None
    offset_v: Command | None = None


class Wait(_Table):
    """A query that answers `done` when a frame is complete."""

    ask: Command = "*OPC?"
    done: str = "1"


class Position(_Table):
    """Where the next data to be fetched stand on the instrument's own count of samples, or its clock in seconds.

    Either the answer to `ask`, or what stands before the block in the answer to `fetch`, with ; or , between. A count
    that starts again from 0 does so at `modulus`.
    """

    ask: Command | None = None
    before_block: bool = False
    unit: Literal["samples", "seconds"] = "samples"
    modulus: Annotated[int, Field(gt=1)] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.before_block == (self.ask is not None):
            raise ValueError("give either ask or before_block = true")
        return self


class Stream(_Table):
    """Without a gap: armed once, then fetched again and again. `available` says how many samples wait."""

    arm: tuple[Command, ...]
    available: Command | None = None
    fetch: Command
    position: Position | None = None

    @model_validator(mode="after")
    def _all_inputs_at_once(self) -> Self:
        if "{input}" in self.fetch:
            raise ValueError("fetch must bring all inputs at once; what comes input by input is no stream")
        return self


class Frames(_Table):
    """One frame after the other: armed, waited for, fetched, with dead time between. `points` sets its length."""

    points: Setting
    arm: tuple[Command, ...]
    wait: Wait = Wait()
    fetch: Command
    position: Position | None = None


class Dialect(_Table):
    """A whole dialect. `prepare` comes before everything else, `stop` at the end."""

    message: Message = Message()
    identify: Command = "*IDN?"
    error: Command = "SYSTem:ERRor?"
    prepare: tuple[Command, ...] = ("*CLS",)
    inputs: Inputs
    range: Range = Range()
    rate: Rate = Rate()
    data: Data
    scale: Scale = Scale()
    stream: Stream | None = None
    frames: Frames | None = None
    stop: tuple[Command, ...] = ("ABORt",)

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.stream is None and self.frames is None:
            raise ValueError("needs a table [stream] or [frames]")
        if self.data.header == "none" and self.stream is not None:
            raise ValueError("data.header: a stream's blocks need their length: use block")
        scales = (self.scale.full_scale_count is not None) + (self.scale.volts_per_count is not None)
        if scales != (0 if self.data.type.startswith("real") else 1):
            raise ValueError("scale: integers need full_scale_count or volts_per_count, real numbers neither")
        return self

    @property
    def modes(self) -> tuple[str, ...]:
        """Name the ways it has, the better one first."""
        return tuple(name for name in ("stream", "frames") if getattr(self, name) is not None)


def load_dialect(name: str) -> Dialect:
    """Read a dialect that came with us, by name, or a file. Raises AddressError, or FormatError in one line."""
    ours = {Path(one.name).stem: one for one in files("drivers.scpi").joinpath("dialects").iterdir()}
    try:
        text = (ours[name] if name in ours else Path(name)).read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        known = ", ".join(sorted(ours))
        raise AddressError(one_line(f"{name}: no dialect; give a TOML file or one of {known}: {error}")) from error
    try:
        return parse_dialect(tomllib.loads(text), name)
    except tomllib.TOMLDecodeError as error:
        raise FormatError(one_line(f"{name}: is not TOML: {error}")) from error


def parse_dialect(table: Mapping[str, object], name: str) -> Dialect:
    """Check a dialect. Raises FormatError naming the first key that is wrong."""
    try:
        return Dialect.model_validate(_tupled(table))
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(map(str, first["loc"])) or "dialect"
        raise FormatError(one_line(f"{name}: {where}: {first['msg'].removeprefix('Value error, ')}")) from error


def _tupled(value: object) -> object:
    """Make every list a tuple, as strict validation wants it."""
    if isinstance(value, Mapping):
        return {key: _tupled(item) for key, item in value.items()}
    return tuple(map(_tupled, value)) if isinstance(value, list) else value
