"""A serial ADC board: numbers as text (lines), or checked binary frames (FRAMES.md); how to wire it: WIRING.md."""

from acquire.source import Source
from drivers.address import Address


def open_serial(address: Address) -> Source:
    """Make the source for a board on a serial port. Raises AddressError where the address cannot be meant."""
    from drivers.serial_board.options import source_from

    return source_from(address)
