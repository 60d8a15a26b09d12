import asyncio
import contextlib
import gc
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from acquire.clock import SystemClock
from acquire.errors import AddressError
from monitor.publish import broker, publisher
from monitor.publish.address import Access, parse_broker
from monitor.publish.broker import LARGEST_BYTES, BrokerAway, BrokerRefused, Letter, connected, trust
from monitor.publish.publishing import publishing
from monitor.publish.second_screen import following
from tests.monitor.publish.mosquitto import Mosquitto, needs_broker
from tests.monitor.publish.telling import Drive, comes_true, flag, listening

# The library leaves a socket whose handshake failed to the garbage collector.
pytestmark = pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")
SECRET = "hush-4711"
CLOCK = SystemClock()


@pytest.fixture
def sockets_are_collected() -> Iterator[None]:
    """Named first, so that it is done last, while the filter above holds."""
    yield
    gc.collect()


async def connect(access: Access) -> None:
    async with connected(access, trust(access), None) as connection:
        await connection.send(Letter(access.broker.topic("tally"), b"{}", qos=1))


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that knows one user."""
    passwords = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-c", "-b", passwords, "ann", SECRET], check=True, capture_output=True)
    running = Mosquitto(tmp_path, "allow_anonymous false", f"password_file {passwords}").start()
    yield running
    running.kill()


def openssl(folder: Path, *arguments: str) -> None:
    subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)


def sign(folder: Path, name: str, *extra: str) -> None:
    """Make a key and a certificate that our own authority signed, and one file of both."""
    openssl(folder, "req", "-newkey", "rsa:2048", "-nodes", "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj",
            f"/CN={name}")  # fmt: skip
    (folder / "names").write_text("subjectAltName = DNS:localhost", encoding="utf-8")
    openssl(folder, "x509", "-req", "-in", f"{name}.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial",
            "-out", f"{name}.crt", "-days", "2", "-extfile", "names", *extra)  # fmt: skip
    both = (folder / f"{name}.crt").read_text(encoding="utf-8") + (folder / f"{name}.key").read_text(encoding="utf-8")
    (folder / f"{name}.pem").write_text(both, encoding="utf-8")


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an authority of our own, a broker's certificate and one of ours."""
    folder = tmp_path_factory.mktemp("authority")
    openssl(folder, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "ca.key", "-out", "ca.crt", "-days",
            "2", "-subj", "/CN=workshop")  # fmt: skip
    sign(folder, "broker")
    sign(folder, "van")
    return folder


@pytest.fixture
def sealed(tmp_path: Path, authority: Path) -> Iterator[Mosquitto]:
    """A broker with TLS that wants to see a certificate of ours too."""
    running = Mosquitto(
        tmp_path, f"cafile {authority}/ca.crt", f"certfile {authority}/broker.crt", f"keyfile {authority}/broker.key",
        "require_certificate true", "allow_anonymous true",
    ).start()  # fmt: skip
    yield running
    running.kill()


def over_tls(broker: Mosquitto, host: str = "localhost") -> Access:
    return Access(parse_broker(f"mqtts://{host}:{broker.port}/van"))


@needs_broker
async def test_the_right_password_lets_one_in(guarded: Mosquitto) -> None:
    await connect(Access(parse_broker(guarded.address(user="ann")), SECRET))


@needs_broker
@pytest.mark.parametrize(("user", "password"), [("ann", "other"), ("bob", SECRET), ("", None)])
async def test_a_wrong_password_is_told_as_that_without_repeating_it(
    guarded: Mosquitto, user: str, password: str | None
) -> None:
    with pytest.raises(BrokerRefused, match="user or password is wrong") as refusal:
        await connect(Access(parse_broker(guarded.address(user=user)), password))
    assert "other" not in str(refusal.value)
    assert SECRET not in str(refusal.value)


@needs_broker
async def test_a_wrong_password_is_said_while_logging_goes_on(guarded: Mosquitto) -> None:
    drive = Drive()
    async with publishing(Access(parse_broker(guarded.address(user="ann")), "other"), CLOCK, print) as attach:
        attach(drive, drive.stop)
        drive.commit(flag(1))
        await comes_true(lambda: "user or password is wrong" in drive.source().publishing)


@needs_broker
async def test_a_second_screen_with_a_wrong_password_does_not_open(guarded: Mosquitto) -> None:
    with pytest.RaisesGroup(pytest.RaisesExc(BrokerRefused, match="password is wrong")):
        async with following(Access(parse_broker(guarded.address(user="ann")), "other"), CLOCK):
            pass


@pytest.mark.usefixtures("sockets_are_collected")
@needs_broker
async def test_tls_with_an_authority_and_a_certificate_of_our_own(sealed: Mosquitto, authority: Path) -> None:
    await connect(replace(over_tls(sealed), ca_file=authority / "ca.crt", certificate_file=authority / "van.pem"))


@pytest.mark.usefixtures("sockets_are_collected")
@needs_broker
async def test_a_broker_whose_certificate_nobody_vouches_for_is_refused(sealed: Mosquitto, authority: Path) -> None:
    with pytest.raises(BrokerRefused, match=r"certificate is not to be trusted: certificate verify failed"):
        await connect(replace(over_tls(sealed), certificate_file=authority / "van.pem"))


@pytest.mark.usefixtures("sockets_are_collected")
@needs_broker
async def test_a_certificate_of_another_host_is_refused(sealed: Mosquitto, authority: Path) -> None:
    with pytest.raises(BrokerRefused, match="not to be trusted"):
        await connect(replace(over_tls(sealed, "127.0.0.1"), ca_file=authority / "ca.crt"))


@pytest.mark.usefixtures("sockets_are_collected")
@needs_broker
async def test_a_broker_that_wants_a_certificate_and_gets_none_is_away_with_its_reason(
    sealed: Mosquitto, authority: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(broker, "PATIENCE_S", 0.5)
    with pytest.raises(BrokerAway, match=r"does not answer|ertificate"):
        await connect(replace(over_tls(sealed), ca_file=authority / "ca.crt"))


@pytest.mark.parametrize("field", ["ca_file", "certificate_file"])
@pytest.mark.parametrize("content", [None, b"", b"no certificate"])
def test_a_file_of_no_use_for_tls_is_named_in_one_line(tmp_path: Path, field: str, content: bytes | None) -> None:
    file = tmp_path / "file"
    if content is not None:
        file.write_bytes(content)
    access = replace(Access(parse_broker("mqtts://host/van")), **{field: file})  # type: ignore[arg-type]
    with pytest.raises(AddressError, match="file: cannot be used for TLS: "):
        trust(access)


def test_without_tls_nobody_need_be_trusted_and_with_it_everybody_is_checked() -> None:
    assert trust(Access(parse_broker("mqtt://host/van"))) is None
    context = trust(Access(parse_broker("mqtts://host/van")))
    assert context is not None
    assert (context.verify_mode, context.check_hostname) == (ssl.CERT_REQUIRED, True)


@needs_broker
async def test_the_broker_leaves_out_what_is_too_large_for_us(open_to_all: Mosquitto) -> None:
    access = Access(parse_broker(open_to_all.address()))
    async with following(access, CLOCK) as follower, connected(access, None, None) as other:
        await other.send(Letter(access.broker.topic("state"), b"x" * 10_000_000, qos=1))
        await other.send(Letter(access.broker.topic("state"), b"x" * (LARGEST_BYTES - 200), qos=1))
        await comes_true(lambda: "1 message not understood" in follower.source().publishing)


@needs_broker
async def test_when_the_program_is_killed_the_broker_says_that_it_is_offline(open_to_all: Mosquitto) -> None:
    access = Access(parse_broker(open_to_all.address()))
    async with listening(open_to_all.address()) as listener:
        will = Letter(access.broker.topic("state"), b'{"online": false}', qos=1, is_retained=True)
        with contextlib.suppress(BrokerAway):
            async with connected(access, None, will) as connection:
                await connection.send(Letter(access.broker.topic("state"), b'{"online": true}', qos=1))
                connection._client._client.socket().shutdown(socket.SHUT_RDWR)  # type: ignore[union-attr]
                async for _ in connection.received():
                    pass
        await comes_true(lambda: [one["online"] for one in listener.of("state")] == [True, False])


@needs_broker
async def test_who_connects_anew_is_not_said_to_be_offline_later_when_the_old_connection_is_found_dead(
    open_to_all: Mosquitto,
) -> None:
    access = Access(parse_broker(open_to_all.address()))
    will = Letter(access.broker.topic("state"), b'{"online": false}', qos=1, is_retained=True)
    lives = Letter(access.broker.topic("state"), b'{"online": true}', qos=1, is_retained=True)
    async with listening(open_to_all.address()) as listener:
        with contextlib.suppress(BrokerAway):
            async with connected(access, None, will, "thelogger") as old:
                await old.send(lives)
                async with connected(access, None, will, "thelogger") as new:
                    await new.send(lives)
                    with pytest.raises(BrokerAway):
                        async for _ in old.received():
                            pass
                    await new.send(Letter(access.broker.topic("tally"), b"{}", qos=1))
                    await comes_true(lambda: listener.of("tally"))
                    assert [one["online"] for one in listener.of("state")] == [True, False, True]


@contextlib.contextmanager
def silent() -> Iterator[tuple[int, list[socket.socket]]]:
    """Somebody who takes connections and never says a word; its port, and the connections."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        taken: list[socket.socket] = []

        def accept() -> None:
            with contextlib.suppress(OSError):
                while True:
                    taken.append(server.accept()[0])

        thread = threading.Thread(target=accept)
        thread.start()
        try:
            yield int(server.getsockname()[1]), taken
        finally:
            server.shutdown(socket.SHUT_RDWR)
            thread.join()
            for one in taken:
                one.close()
            for thread in threading.enumerate():
                if thread.name == "connecting":
                    thread.join()


@pytest.mark.usefixtures("sockets_are_collected")
@pytest.mark.parametrize("scheme", ["mqtt", "mqtts"])
async def test_a_broker_that_takes_the_connection_and_is_silent_holds_up_no_end(
    scheme: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(publisher, "FINISH_S", 0.2)
    drive, said = Drive(), list[str]()
    with silent() as (port, taken):
        access = Access(parse_broker(f"{scheme}://127.0.0.1:{port}/van"))
        async with publishing(access, CLOCK, said.append) as attach:
            attach(drive, drive.stop)
            drive.commit(flag(1))
            await comes_true(lambda: taken)
            began_s = time.monotonic()
        assert time.monotonic() - began_s < 2.0
        assert said[0].startswith("1 message may not have reached")
    await asyncio.sleep(0)
