"""Somebody who subscribes to what running logs publish, through the client library alone."""

import json
import threading
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from tests.monitor.publish.mosquitto import PROGRAM, Mosquitto

ROOT = "coilcall/kills"


class Heard:
    """The flags that came, by the number of the log."""

    def __init__(self, broker: Mosquitto) -> None:
        self._broker, self._lock = broker, threading.Lock()
        self._flags: dict[int, list[tuple[int, int]]] = defaultdict(list)

    def options(self, number: int) -> list[str]:
        """What to start a log with."""
        return ["--mqtt", self._broker.address(f"{ROOT}/{number}")]

    def flags(self, number: int) -> list[tuple[int, int]]:
        """Number and count of every flag that a log has published until now."""
        with self._lock:
            return list(self._flags[number])

    def note(self, message: MQTTMessage) -> None:
        """Take a message."""
        *_, number, kind = message.topic.split("/")
        if kind == "flag":
            flag = json.loads(message.payload)
            with self._lock:
                self._flags[int(number)].append((flag["number"], flag["count"]))


@contextmanager
def subscribed(folder: Path) -> Iterator[Heard | None]:
    """A broker and its subscriber; None where there is no broker on this machine."""
    if PROGRAM is None:
        yield None
        return
    broker = Mosquitto(folder).start()
    heard, client = Heard(broker), Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _, __, message: heard.note(message)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    client.subscribe(f"{ROOT}/#", qos=1)
    try:
        yield heard
    finally:
        client.loop_stop()
        broker.kill()
