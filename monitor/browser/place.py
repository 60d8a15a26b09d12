"""Where the page is to be had, and by whom."""

import ipaddress
import os
import re
import socket
from contextlib import suppress
from dataclasses import dataclass

from acquire.errors import AddressError

LOOPBACK = "127.0.0.1"
_ELSEWHERE = ("192.0.2.1", 9)
"""An address that exists nowhere (RFC 5737): to ask which of ours would be used, nothing is sent."""


@dataclass(frozen=True, slots=True)
class Place:
    """A host, by name or number, and a port; 0 is any that is free."""

    host: str
    port: int


def place_from(text: str) -> Place:
    """Understand `[HOST:]PORT`; without a host, this machine alone. Raises AddressError."""
    found = re.fullmatch(r"(?:(?P<host>\[[0-9A-Fa-f:.%]+\]|[\w.-]+):)?(?P<port>[0-9]{1,5})", text, re.ASCII)
    if found is None or int(found["port"]) > 65535:
        raise AddressError(f"--serve {text[:80]!r}: a port, or host:port, would be right, as 8000 or 0.0.0.0:8000")
    return Place((found["host"] or LOOPBACK).strip("[]"), int(found["port"]))


def listen(place: Place) -> socket.socket:
    """Take the place, so that nobody else can. Raises AddressError where it cannot be had."""
    if not hasattr(socket, "AF_UNIX"):
        raise AddressError("--serve needs a system with Unix sockets, as Linux and macOS are")
    try:
        family, _, _, _, address = socket.getaddrinfo(place.host, place.port, type=socket.SOCK_STREAM)[0]
        is_both = family == socket.AF_INET6 and socket.has_dualstack_ipv6()  # [::] takes what comes to 0.0.0.0 too
        return socket.create_server(address, family=family, dualstack_ipv6=is_both)
    except (OSError, UnicodeError) as error:
        raise AddressError(f"--serve {place.host}:{place.port}: {_reason(error)}; another would be right") from error


def _reason(error: OSError | UnicodeError) -> str:
    if isinstance(error, UnicodeError):
        return "no name of a machine"
    return str(error.strerror) if isinstance(error, socket.gaierror) else os.strerror(error.errno or 0)


def told(listening: socket.socket) -> str:
    """What to type into the browser, and who can: one paragraph."""
    host, port = listening.getsockname()[:2]
    if ipaddress.ip_address(host.partition("%")[0]).is_loopback:
        return f"In a browser: {_url(host, port)}\nOnly this machine can reach it."
    hosts = own_addresses() if ipaddress.ip_address(host.partition("%")[0]).is_unspecified else [host]
    return (
        f"In a browser: {' or '.join(_url(one, port) for one in hosts)}\n"
        "Anyone on this network who knows the address can see the screen and set marks.\n"
        "There is no password and no encryption: use it only on a network you trust."
    )


def own_addresses() -> list[str]:
    """By which this machine is reached: where its network is known, numbers; otherwise its name."""
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(_ELSEWHERE)
        return [str(asked.getsockname()[0])]
    return [socket.gethostname()]


def _url(host: str, port: int) -> str:
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
