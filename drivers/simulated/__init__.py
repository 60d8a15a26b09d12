"""An engine that runs in memory, with faults that can be dialled in."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from acquire.source import Source
    from drivers.address import Address


def open_simulated(address: "Address") -> "Source":
    """Make the engine that an address like `simulated:?cylinders=4&rpm=800&fault=no-answer,cylinder=2` describes."""
    from drivers.simulated.options import engine_from

    return engine_from(address)
