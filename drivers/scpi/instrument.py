"""The few things we want of an instrument, said in its dialect."""

import math
import re

from acquire.errors import AddressError, SourceLost, one_line
from drivers.scpi.dialect import Dialect, Frames, Setting
from drivers.scpi.samples import LinearScale
from drivers.scpi.wire import Wire

MOST_ERRORS = 100
_ERROR = re.compile(r'\s*([+-]?\d+)\s*(?:,\s*"?(.*?)"?\s*)?', re.DOTALL)

_CLASSES = {1: "command", 2: "execution", 3: "device-specific", 4: "query"}
"""SCPI-99 volume 2, 21.8.8 to 21.8.11: the hundreds of a negative number."""


def parse_error(answer: str) -> tuple[int, str]:
    """Take an answer to SYSTem:ERRor? apart: number and text (SCPI-99 volume 2). Raises ValueError where it is none."""
    match = _ERROR.fullmatch(answer)
    if match is None:
        raise ValueError(f"{answer[:64]!r} is no answer to a query for errors")
    return int(match[1]), match[2] or ""


def worded_error(number: int, text: str) -> str:
    """Say an error in words, with its class where the number is one of the standard's."""
    kind = _CLASSES.get(-number // 100) if number < 0 else None
    return f"{number} {one_line(text)}" + (f" ({kind} error)" if kind else "")


class Instrument:
    """Speaks one dialect over a wire, for some of the inputs. Raises what the wire raises, and as said."""

    def __init__(self, wire: Wire, dialect: Dialect, inputs: tuple[str, ...], name: str) -> None:
        self._wire, self._dialect, self._inputs, self._name = wire, dialect, inputs, name
        self._words: dict[str, str] = {"inputs": ",".join(inputs)}

    def identify(self) -> str:
        """Ask who it is: that somebody answers is the only proof that an instrument is there."""
        return self._wire.ask(self._dialect.identify)

    def prepare(self) -> None:
        """Bring it to a known state and choose the inputs."""
        self.do(self._dialect.prepare)
        self.do(self._dialect.inputs.select)

    def set_rate(self, wanted_hz: float) -> float:
        """Set the sample rate; give what it has become. Raises AddressError where that is no rate."""
        rate = self._dialect.rate
        self._words |= {"rate_hz": f"{wanted_hz:.12g}", "interval_s": f"{1 / wanted_hz:.12g}"}
        self.do(rate.set)
        if rate.ask is None:
            return wanted_hz
        answer = self._number(rate.ask)
        if answer <= 0.0:
            raise self._refuse(rate.ask, f"{answer:g}", "a rate above 0")
        return answer if rate.answer == "rate_hz" else _near_whole(1.0 / answer)

    def set_ranges(self, wanted_v: tuple[float, ...]) -> tuple[LinearScale | None, ...]:
        """Set the inputs' ranges; give the scale of each, None where samples are volts already."""
        return tuple(self._set_range(*pair) for pair in zip(self._inputs, wanted_v, strict=True))

    def set_points(self, frames: Frames, wanted: int) -> int:
        """Set the samples of a frame; give what it has become."""
        self._words["samples"] = str(wanted)
        self.do(frames.points.set)
        points = wanted if frames.points.ask is None else round(self._number(frames.points.ask))
        if points < 1:
            raise self._refuse(str(frames.points.ask), str(points), "at least 1")
        self._words["samples"] = str(points)
        return points

    def errors(self, patience_s: float | None = None) -> list[str]:
        """Drain its queue of errors: ask until it says 0."""
        found: list[str] = []
        while len(found) < MOST_ERRORS:
            answer = self._wire.ask(self._dialect.error, patience_s)
            try:
                number, text = parse_error(answer)
            except ValueError as error:
                raise SourceLost(f"{self._name}: {one_line(error)}") from error
            if number == 0:
                break
            found.append(worded_error(number, text))
        return found

    def do(self, commands: tuple[str, ...]) -> None:
        """Send commands, those that hold {input} once for each input."""
        for command in commands:
            for words in self._each_input() if "{input}" in command else ({},):
                self._wire.write(self.worded(command, words))

    def worded(self, command: str, words: dict[str, str]) -> str:
        """Put in what the braces stand for. Raises AddressError where it is not known yet."""
        try:
            return command.format_map(self._words | words)
        except KeyError as error:
            raise AddressError(f"{self._name}: {command}: {{{error.args[0]}}} is not known here") from error

    def _each_input(self) -> tuple[dict[str, str], ...]:
        return tuple({"input": name} for name in self._inputs)

    def _set_range(self, name: str, wanted_v: float) -> LinearScale | None:
        table, scale = self._dialect.range, self._dialect.scale
        words = {"input": name, "range_v": f"{wanted_v:.12g}", "span_v": f"{2 * wanted_v:.12g}"}
        self._set(table, words)
        range_v = wanted_v
        if table.ask is not None:
            range_v = self._number(table.ask, words) / (2.0 if table.answer == "span_v" else 1.0)
            if range_v <= 0.0:
                raise self._refuse(table.ask, f"{range_v:g}", "a range above 0 V")
        if self._dialect.data.type.startswith("real"):
            return None
        if scale.volts_per_count is None:
            return LinearScale(range_v / (scale.full_scale_count or math.nan), scale.zero_count)
        volts_per_count = self._number(scale.volts_per_count, words)
        offset_v = 0.0 if scale.offset_v is None else self._number(scale.offset_v, words)
        return LinearScale(volts_per_count, scale.zero_count, offset_v)

    def _set(self, table: Setting, words: dict[str, str]) -> None:
        for command in table.set:
            self._wire.write(self.worded(command, words))

    def _number(self, query: str, words: dict[str, str] | None = None) -> float:
        text = self.worded(query, words or {})
        answer = self._wire.ask(text)
        try:
            value = float(answer)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise self._refuse(text, repr(answer[:64]), "a number")
        return value

    def _refuse(self, query: str, answer: str, right: str) -> AddressError:
        return AddressError(f"{self._name}: {query} was answered with {answer}; {right} is needed")


def _near_whole(rate_hz: float) -> float:
    """Undo what telling a rate as a rounded interval did to it, where it is a whole number but for the rounding."""
    whole = float(round(rate_hz))
    return whole if abs(rate_hz - whole) <= 1e-9 * rate_hz else rate_hz
