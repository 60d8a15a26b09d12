"""Addresses: one line of text that says where samples come from.

    address   = scheme ":" rest ["?" query]  |  path ["?" query]
    scheme    = two or more letters, digits, "_", "-", "." or "+", a letter first
    query     = key "=" value { "&" key "=" value }      with %XX for what would not fit

One letter before a colon is a drive of a file's path, not a scheme; and whatever exists as a file or folder under the
whole text is that file, whatever its name looks like. A path without a scheme has the scheme "file". A dotted scheme
(`package.module:Class`) can be told from the names of sources, which hold no dots.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar
from urllib.parse import unquote

from acquire.errors import AddressError, one_line

Default = TypeVar("Default")

_SCHEME = re.compile(r"([A-Za-z][\w.+-]+):(.*)", re.ASCII | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Address:
    """An address taken apart: `path` is what stands between scheme and query, `query` the values of each key."""

    text: str
    scheme: str
    path: str
    query: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))

    def allow(self, *known: str) -> None:
        """Raise AddressError unless every key of the query is one of these."""
        for key in self.query:
            if key not in known:
                raise self.error(key, f"unknown key; known here: {', '.join(known) or 'none'}")

    def texts(self, key: str) -> tuple[str, ...]:
        """Give every value of a key that may come more than once."""
        return self.query.get(key, ())

    def string(self, key: str, default: Default) -> str | Default:
        """Give the one value of a key, or the default where it is not there."""
        values = self.texts(key)
        if len(values) > 1:
            raise self.error(key, f"given {len(values)} times; give it once")
        return values[0] if values else default

    def number(self, key: str, default: Default, low: float = -math.inf, high: float = math.inf) -> float | Default:
        """Give a finite number within low and high, both allowed."""
        text = self.string(key, None)
        if text is None:
            return default
        try:
            value = float(text)
        except ValueError:
            raise self.error(key, f'"{text}" is not a number') from None
        return self._bounded(key, value, low, high)

    def whole(self, key: str, default: Default, low: int, high: int) -> int | Default:
        """Give a whole number within low and high, both allowed."""
        value = self.number(key, None, low, high)
        if value is None:
            return default
        if value != int(value):
            raise self.error(key, f"{value:g} is not a whole number")
        return int(value)

    def choice(self, key: str, default: Default, options: Sequence[str]) -> str | Default:
        """Give one of the options."""
        text = self.string(key, None)
        if text is None:
            return default
        if text not in options:
            raise self.error(key, f'"{text}" is none of {", ".join(options)}')
        return text

    def error(self, key: str, text: str) -> AddressError:
        """Make the one-line error for a key of this address."""
        return AddressError(one_line(f"{self.text}: {key}: {text}"))

    def _bounded(self, key: str, value: float, low: float, high: float) -> float:
        if not math.isfinite(value):
            raise self.error(key, f"{value:g} is not a finite number")
        if value < low:
            raise self.error(key, f"{value:g} is too small; {low:g} is the least")
        if value > high:
            raise self.error(key, f"{value:g} is too large; {high:g} is the most")
        return value


def parse_address(text: str) -> Address:
    """Take an address apart. Raises AddressError where it is empty or its query is none."""
    text = text.strip()
    if not text:
        raise AddressError("the address is empty; give a file, a folder or something like simulated:")
    if exists(text):
        return Address(text, "file", text)
    match = _SCHEME.fullmatch(text)
    scheme, rest = (match[1], match[2]) if match else ("file", text)
    if scheme == "file" and exists(rest):
        return Address(text, scheme, rest)
    path, _, query = rest.rpartition("?")
    if not (scheme == "file" and exists(path)):  # a file's name may hold question marks
        path, _, query = rest.partition("?")
    return Address(text, scheme, path, _parse_query(text, query))


def exists(path: str) -> bool:
    """Whether a file or folder can be seen there; what cannot be looked at, or be a name at all, is not there."""
    try:
        return bool(path) and Path(path).exists()
    except (OSError, ValueError):
        return False


def _parse_query(text: str, query: str) -> Mapping[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for part in filter(None, query.split("&")):
        key, equals, value = part.partition("=")
        if not (key and equals):
            raise AddressError(one_line(f'{text}: "{part}" is not key=value'))
        found[unquote(key)] = (*found.get(unquote(key), ()), unquote(value))
    return MappingProxyType(found)
