"""Digitizers and oscilloscopes that speak SCPI, over whatever VISA reaches."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from acquire.source import Source
    from drivers.address import Address


def open_scpi(address: "Address") -> "Source":
    """Make the source for an address like `scpi:TCPIP0::192.168.1.20::5025::SOCKET?inputs=1,2,3&rate=50000`."""
    from drivers.scpi.options import source_from

    return source_from(address)
