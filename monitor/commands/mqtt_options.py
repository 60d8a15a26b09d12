"""The options of everything that speaks to a broker."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any

import click

from monitor.publish.address import Access, cautions, parse_broker, password_for

_FILE = click.Path(path_type=Path)


@dataclass(frozen=True, slots=True)
class MqttOptions:
    """What was typed; no secret in it."""

    address: str | None = None
    ca_file: Path | None = None
    certificate_file: Path | None = None
    password_file: Path | None = None
    takes_commands: bool = False

    def publishing(self) -> Access | None:
        """Where to publish, if anywhere. Raises AddressError, click.UsageError."""
        if self.address is not None:
            return self._access(self.address)
        if self != MqttOptions():
            raise click.UsageError("the options that begin with --mqtt- belong to --mqtt URL, which is not there")
        return None

    def watching(self, address: str) -> Access:
        """How to get in where somebody else publishes. Raises AddressError, click.UsageError."""
        if self.address is not None or self.takes_commands:
            raise click.UsageError(
                "what is watched over a broker cannot be published again: leave --mqtt out, and --mqtt-commands with it"
            )
        return self._access(address)

    def _access(self, address: str) -> Access:
        broker = parse_broker(address)
        if not broker.is_tls and (self.ca_file or self.certificate_file):
            raise click.UsageError("--mqtt-ca and --mqtt-cert belong to mqtts://, which is not what is given")
        password = password_for(broker, self.password_file)
        access = Access(broker, password, self.ca_file, self.certificate_file, self.takes_commands)
        if sys.stderr.isatty():
            for line in cautions(access, self.password_file):
                click.echo(f"coilcall: {line}", err=True)
        return access


def mqtt_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add them to a command, which is called with `mqtt`, an MqttOptions."""

    @click.option(
        "--mqtt",
        "mqtt_address",
        metavar="URL",
        help="Publish state, flags and marks to a broker: mqtt://[USER@]HOST[:PORT]/TOPIC-ROOT, or mqtts:// with TLS. "
        "The password never stands here: set COILCALL_MQTT_PASSWORD, or use --mqtt-password-file.",
    )
    @click.option(
        "--mqtt-password-file", type=_FILE, metavar="FILE", help="The broker's password is this file's first line."
    )
    @click.option("--mqtt-ca", type=_FILE, metavar="FILE", help="Who signed the broker's certificate, with mqtts.")
    @click.option("--mqtt-cert", type=_FILE, metavar="FILE", help="Our own certificate and its key, in one file.")
    @click.option("--mqtt-commands", is_flag=True, help="Let whoever may publish there set marks, and stop this.")
    @wraps(command)
    def wrapped(
        *args: Any,  # noqa: ANN401  whatever the command takes
        mqtt_address: str | None,
        mqtt_password_file: Path | None,
        mqtt_ca: Path | None,
        mqtt_cert: Path | None,
        mqtt_commands: bool,
        **others: Any,  # noqa: ANN401
    ) -> None:
        mqtt = MqttOptions(mqtt_address, mqtt_ca, mqtt_cert, mqtt_password_file, mqtt_commands)
        command(*args, mqtt=mqtt, **others)

    return wrapped
