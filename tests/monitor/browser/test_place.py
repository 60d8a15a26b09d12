import socket
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import AddressError
from monitor.browser import place
from monitor.browser.place import Place, listen, own_addresses, place_from, told


@pytest.mark.parametrize(
    ("text", "host", "port"),
    [
        ("8000", "127.0.0.1", 8000),
        ("0", "127.0.0.1", 0),
        ("0.0.0.0:8000", "0.0.0.0", 8000),  # as typed
        ("localhost:80", "localhost", 80),
        ("[::1]:65535", "::1", 65535),
        ("laptop-2.workshop:8000", "laptop-2.workshop", 8000),
    ],
)
def test_a_port_may_have_a_host_before_it(text: str, host: str, port: int) -> None:
    assert place_from(text) == Place(host, port)


@pytest.mark.parametrize(
    "text", ["", ":", "host", "host:", ":80", "65536", "::1:80", "a b:80", "80 ", "٨٠", "-1", "a/b:80"]
)
def test_anything_else_is_refused_with_what_would_be_right(text: str) -> None:
    with pytest.raises(AddressError, match="a port, or host:port, would be right, as 8000"):
        place_from(text)


def test_a_port_in_use_is_refused_in_one_line() -> None:
    with listen(Place("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(AddressError, match=rf"--serve 127\.0\.0\.1:{port}: Address already in use; another"):
            listen(Place("127.0.0.1", port))


@given(st.text() | st.from_regex(r"[\w.:\[\]-]*:?[0-9]*", fullmatch=True))
def test_whatever_is_typed_is_a_place_or_refused_in_one_line(text: str) -> None:
    with suppress(AddressError):
        assert 0 <= place_from(text).port <= 65535


@pytest.mark.parametrize("host", ["198.51.100.1", "nowhere.invalid", "a..b", "a" * 70])  # RFC 5737, RFC 6761: nobody's
def test_an_address_that_is_not_this_machines_is_refused(host: str) -> None:
    with pytest.raises(AddressError, match=f"--serve {host}:8000: "):
        listen(Place(host, 8000))


def test_on_loopback_it_is_said_that_nobody_else_can_reach_it() -> None:
    with listen(Place("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        assert told(listening) == f"In a browser: http://127.0.0.1:{port}\nOnly this machine can reach it."


def test_on_the_network_it_is_said_who_can_see_it_and_what_to_type(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place, "own_addresses", lambda: ["192.0.2.7", "bench"])
    with listen(Place("0.0.0.0", 0)) as listening:  # every address, for a moment
        port, words = listening.getsockname()[1], told(listening)
    assert f"http://192.0.2.7:{port} or http://bench:{port}" in words
    for said in ("Anyone on this network", "set marks", "no password", "encryption", "network you trust"):
        assert said in words


def test_own_addresses_are_numbers_others_can_type_or_a_name() -> None:
    assert all(socket.gethostname() == one or not one.startswith("0.") for one in own_addresses())
    assert own_addresses()
