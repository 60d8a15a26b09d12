"""Where the broker is, and what lets one in: an address without secrets, and the secret beside it."""

import os
import stat
from collections.abc import MutableMapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import SplitResult, unquote, urlsplit

from acquire.errors import AddressError

SCHEMES = {"mqtt": 1883, "mqtts": 8883}
"""With the port that each has unless told otherwise (as registered with IANA)."""
FORM = "mqtt://[USER@]HOST[:PORT]/TOPIC-ROOT, or mqtts:// with TLS"
PASSWORD_VARIABLE = "COILCALL_MQTT_PASSWORD"
_LONGEST_ROOT = 200
_LONGEST_PASSWORD = 65_535
"""What the protocol's length field can say (MQTT 5, 1.5.6)."""


@dataclass(frozen=True, slots=True)
class Broker:
    """An address as a person types it. No secret in it: it may be shown and kept."""

    host: str
    port: int
    root: str
    user: str | None = None
    is_tls: bool = False

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{'mqtts' if self.is_tls else 'mqtt'}://{host}:{self.port}/{self.root}"

    def topic(self, name: str) -> str:
        """One of our topics, below the root."""
        return f"{self.root}/{name}"


@dataclass(frozen=True, slots=True)
class Access:
    """A broker and what lets one in; `takes_commands` lets others mark and stop."""

    broker: Broker
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    certificate_file: Path | None = None
    takes_commands: bool = False


def is_broker(address: str) -> bool:
    """Whether this is a broker's address at all."""
    return address.partition("://")[0].lower() in SCHEMES and "://" in address


def parse_broker(address: str) -> Broker:
    """Understand an address. Raises AddressError, whose text never repeats what was typed: it may hold a secret."""
    if ":" in address.partition("://")[2].rpartition("@")[0]:
        raise AddressError(
            "the broker's address must hold no password: everybody on this machine can read it there; take it out and"
            f" set {PASSWORD_VARIABLE}, or name a file with --mqtt-password-file"
        )
    try:
        parts = urlsplit(address)
        port = parts.port or SCHEMES[parts.scheme]
    except (ValueError, KeyError):
        raise AddressError(f"the broker's address is not understood; write {FORM}") from None
    if not parts.hostname or set("?#") & set(address):
        raise AddressError(f"the broker's address has no host, or has ? or # in it; write {FORM}")
    return Broker(parts.hostname, port, _root(parts), unquote(parts.username or "") or None, parts.scheme == "mqtts")


def _root(parts: SplitResult) -> str:
    root = unquote(parts.path).strip("/")
    if not root or len(root) > _LONGEST_ROOT or root.startswith("$") or not root.isprintable() or set(root) & set("+#"):
        raise AddressError(
            "the broker's address names no topic root that can be published below: after the host write a name like"
            f" /coilcall/van, without + and #, no $ in front, {_LONGEST_ROOT} characters at most"
        )
    return root


def password_for(broker: Broker, file: Path | None, environment: MutableMapping[str, str] = os.environ) -> str | None:
    """Read the password from the file, else from the environment, where it is not left for the programs we start.

    Raises AddressError where there is one but nobody whose it is, or the file cannot be read.
    """
    from_environment = environment.pop(PASSWORD_VARIABLE, None) or None
    password = from_environment if file is None else _read(file)
    if password is not None and broker.user is None:
        raise AddressError("there is a password, but the broker's address names no user: write mqtt://USER@HOST/…")
    return password


def _read(file: Path) -> str:
    try:
        with file.open(encoding="utf-8") as text:
            password = text.readline(_LONGEST_PASSWORD).rstrip("\r\n")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not text"
        raise AddressError(f"{file}: the broker's password cannot be read: {reason}") from None
    if not password:
        raise AddressError(f"{file}: its first line should be the broker's password, and is empty")
    return password


def cautions(access: Access, password_file: Path | None) -> list[str]:
    """What somebody should know who has just been let use a password, a line each."""
    said = []
    if access.password is not None and not access.broker.is_tls and not _is_here(access.broker.host):
        said.append("the broker's password goes over the network as it is; mqtts:// would hide it")
    if password_file is not None and password_file.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        said.append(f"{password_file}: others on this machine may read the password; chmod 600 keeps it yours")
    return said


def _is_here(host: str) -> bool:
    return host in ("localhost", "::1") or host.startswith("127.")
