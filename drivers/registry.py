"""Every kind of source there is: our own and those of installed packages, listed without importing any of them.

What is not registered, but can be imported, has the address `package.module:maker?query`: a class, or any callable that
takes an Address and gives a Source.
"""

import functools
import re
from collections.abc import Callable, Mapping
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from acquire.errors import AddressError, CoilcallError, one_line
from acquire.source import Source
from drivers.address import Address, parse_address

GROUP = "coilcall.sources"
"""Entry points of this group map a scheme to a callable(Address) -> Source."""

_REFERENCE = re.compile(r"[\w.]+:[\w.]+")


def source_for(text: str) -> Source:
    """Make the source an address means, without opening it. Raises AddressError, FormatError."""
    address = parse_address(text)
    point = _entry_point(address)
    opener: Callable[[Address], object] = _loaded(address, point)
    try:
        source = opener(address)
    except CoilcallError:
        raise
    except Exception as error:  # a package that is not ours may raise anything
        raise _failed(address, point, "makes no source", error) from error
    if not isinstance(source, Source):
        made = f"makes a {type(source).__name__}, not a source with open, blocks and close"
        raise _error(address, f"{point.value} {made}")
    return source


def scheme_names() -> tuple[str, ...]:
    """Name every scheme that can be opened, in order of the alphabet."""
    return tuple(sorted(_installed()))


@functools.cache
def _installed() -> Mapping[str, EntryPoint]:
    """Look once: the search reads the metadata of every installed package."""
    return {point.name: point for point in entry_points(group=GROUP)}


def _entry_point(address: Address) -> EntryPoint:
    if "." in address.scheme:
        return EntryPoint(address.scheme, f"{address.scheme}:{address.path}", GROUP)
    point = _installed().get(address.scheme)
    if point is None:
        names = ", ".join(scheme_names()) or "none"
        raise _error(address, f'no file of that name and no source "{address.scheme}"; installed sources: {names}')
    return point


def _loaded(address: Address, point: EntryPoint) -> Any:  # noqa: ANN401  whatever is there
    if not _REFERENCE.fullmatch(point.value):
        raise _error(address, "no such file, and no package.module:maker")
    try:
        return point.load()
    except Exception as error:  # a package that is not ours may raise anything on import
        raise _failed(address, point, "does not load", error) from error


def _failed(address: Address, point: EntryPoint, what: str, error: Exception) -> AddressError:
    return _error(address, f'source "{point.name}" ({point.value}) {what}: {str(error) or type(error).__name__}')


def _error(address: Address, text: str) -> AddressError:
    return AddressError(one_line(f"{address.text}: {text}"))
