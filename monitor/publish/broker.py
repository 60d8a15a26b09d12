"""The one module that knows the MQTT library: a connection, and all that may go wrong with it as one error.

MQTT 5, for its limit on the size of what we are sent. Connecting resolves names, which nothing can cut short; the
library does it in the loop's executor, which is joined at the end, so a loop that connects gets one whose threads are
left behind.
"""

import asyncio
import logging
import ssl
import threading
from collections.abc import AsyncIterator, Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import asynccontextmanager
from dataclasses import dataclass
from itertools import takewhile
from typing import ParamSpec, TypeVar

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from acquire.errors import AddressError, CoilcallError
from monitor.publish.address import Access

PATIENCE_S = 5.0
"""For an answer of the broker; a phone network's worst round trip is two or three seconds."""
KEEPALIVE_S = 15
"""A broker takes us for gone, and says our last will, after one and a half times this of silence (MQTT 5, 3.1.2.10)."""
LARGEST_BYTES = 65_536
"""Of one message to us, ten times the largest of ours; the broker leaves out what is larger."""
_MOST_UNREAD = 1000

_SILENT = logging.getLogger("monitor.publish.quiet")
_SILENT.addHandler(logging.NullHandler())
_SILENT.propagate = False

P = ParamSpec("P")
T = TypeVar("T")


class BrokerAway(CoilcallError, ConnectionError):
    """The broker cannot be reached, or the connection broke."""


class BrokerRefused(BrokerAway):
    """The broker is there and does not let us in, or is not who it should be."""


@dataclass(frozen=True, slots=True)
class Letter:
    """One message as it goes over the wire."""

    topic: str
    payload: bytes
    qos: int = 0
    is_retained: bool = False


class Connection:
    """A connection that stands; everything raises BrokerAway when it does not any more."""

    def __init__(self, client: aiomqtt.Client) -> None:
        self._client = client

    async def send(self, letter: Letter) -> None:
        """Publish it, to the acknowledgement where its quality of service has one."""
        try:
            await self._client.publish(letter.topic, letter.payload, letter.qos, letter.is_retained)
        except (aiomqtt.MqttError, ValueError) as error:
            raise _away(error) from None

    async def send_all(self, letters: Sequence[Letter]) -> int:
        """Publish them at once, in order; gives how many of the first were acknowledged without one missing."""
        outcomes = await asyncio.gather(*map(self.send, letters), return_exceptions=True)
        for outcome in outcomes:
            if isinstance(outcome, BaseException) and not isinstance(outcome, BrokerAway):
                raise outcome
        return sum(1 for _ in takewhile(lambda outcome: outcome is None, outcomes))

    async def received(self, *topics: str) -> AsyncIterator[Letter]:
        """Subscribe, then give what comes, retained messages first; without a topic nothing, until it breaks.

        Somebody should always wait here: a call that waits for an answer does not notice that the connection broke.
        """
        try:
            for topic in topics:
                await self._client.subscribe(topic, qos=1)
            async for message in self._client.messages:
                yield Letter(message.topic.value, bytes(message.payload), message.qos, message.retain)
        except aiomqtt.MqttError as error:
            raise _away(error) from None


def trust(access: Access) -> ssl.SSLContext | None:
    """Whom to believe that it is the broker; None without TLS. Raises AddressError where a file is of no use."""
    if not access.broker.is_tls:
        return None
    file = access.ca_file
    try:
        context = ssl.create_default_context(cafile=file)
        if (file := access.certificate_file) is not None:
            context.load_cert_chain(file, password=lambda: "")
    except (OSError, ValueError) as error:
        reason = "no certificate in it, or no key of ours without a password"
        if isinstance(error, FileNotFoundError | PermissionError):
            reason = str(error.strerror)
        raise AddressError(f"{file}: cannot be used for TLS: {reason}") from None
    return context


@asynccontextmanager
async def connected(
    access: Access, tls: ssl.SSLContext | None, will: Letter | None = None, name: str | None = None
) -> AsyncIterator[Connection]:
    """Connect, and disconnect at the end; `will` is what the broker says when we vanish. Raises BrokerAway.

    Who connects anew should give the same `name` (a client identifier, up to 23 letters and digits): then the broker
    ends what it still holds for our old connection, and says its will before all that we say on this one, not seconds
    later (MQTT 5, 3.1.4).
    """
    asyncio.get_running_loop().set_default_executor(_LeftBehind())
    client = _client(access, tls, will, name)
    try:
        async with client:
            yield Connection(client)
    except aiomqtt.MqttError as error:
        raise _away(error) from None


def _client(access: Access, tls: ssl.SSLContext | None, will: Letter | None, name: str | None) -> aiomqtt.Client:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.MaximumPacketSize = LARGEST_BYTES
    broker = access.broker
    return aiomqtt.Client(
        broker.host,
        broker.port,
        identifier=name,
        username=broker.user,
        password=access.password,
        logger=_SILENT,
        protocol=aiomqtt.ProtocolVersion.V5,
        will=aiomqtt.Will(will.topic, will.payload, will.qos, will.is_retained) if will else None,
        timeout=PATIENCE_S,
        keepalive=KEEPALIVE_S,
        max_queued_incoming_messages=_MOST_UNREAD,
        properties=properties,
        tls_context=tls,
    )


def _away(error: Exception) -> BrokerAway:
    if any(word in str(error).lower() for word in ("authori", "user name or password")):
        return BrokerRefused(f"the broker does not let us in: user or password is wrong ({_words(error)})")
    if "timed out" in str(error):
        return BrokerAway("it does not answer")
    if "CERTIFICATE" in str(error):
        return BrokerRefused(f"the broker's certificate is not to be trusted: {_words(error)}")
    return BrokerAway(_words(error))


def _words(error: Exception) -> str:
    return str(error).rpartition("] ")[2] or type(error).__name__


class _LeftBehind(ThreadPoolExecutor):
    """Runs every call in a thread of its own, for which nobody waits at the end."""

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        done: Future[T] = Future()
        threading.Thread(target=_do, args=(done, fn, args, kwargs), name="connecting", daemon=True).start()
        return done


def _do(done: "Future[T]", fn: Callable[..., T], args: tuple[object, ...], kwargs: dict[str, object]) -> None:
    if not done.set_running_or_notify_cancel():
        return
    try:
        done.set_result(fn(*args, **kwargs))
    except BaseException as error:  # noqa: BLE001  whoever waits is told
        done.set_exception(error)
