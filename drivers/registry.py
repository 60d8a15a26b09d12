"""Every kind of source there is: our own and those of installed packages, listed without importing any of them."""

import functools
from collections.abc import Callable, Mapping
from importlib.metadata import EntryPoint, entry_points

from acquire.errors import AddressError
from acquire.source import Source
from drivers.address import Address, parse_address

GROUP = "coilcall.sources"
"""Entry points of this group map a scheme to a callable(Address) -> Source."""


def source_for(text: str) -> Source:
    """Make the source an address means, without opening it. Raises AddressError."""
    address = parse_address(text)
    return _opener(address)(address)


def scheme_names() -> tuple[str, ...]:
    """Name every scheme that can be opened, in order of the alphabet."""
    return tuple(sorted(_installed()))


@functools.cache
def _installed() -> Mapping[str, EntryPoint]:
    """Look once: the search reads the metadata of every installed package."""
    return {point.name: point for point in entry_points(group=GROUP)}


def _opener(address: Address) -> Callable[[Address], Source]:
    point = _installed().get(address.scheme)
    if point is None:
        names = ", ".join(scheme_names()) or "none"
        raise AddressError(
            f'{address.text}: no file of that name and no source "{address.scheme}"; installed sources: {names}'
        )
    try:
        opener: Callable[[Address], Source] = point.load()
    except Exception as error:  # a package that is not ours may raise anything on import
        reason = " ".join(str(error).split())
        raise AddressError(f'{address.text}: source "{point.name}" ({point.value}) does not load: {reason}') from error
    return opener
