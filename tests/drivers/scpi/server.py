"""A digitizer on a TCP port of this machine: the instrument that the SCPI driver is tested against.

It speaks both dialects that come with us, and has a simulated engine, or any samples, at its inputs. Its time is the
number of samples that it has taken: a fetch lets `step` samples pass, a frame its own length and `dead` samples more.
"""

import re
import socket
import struct
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

from acquire.block import Counts

RANGE_V = 20.0
Tamper = Callable[[str, bytes], "bytes | None"]
"""Gets a query and its answer; gives what is really sent. None is silence."""


class HangUp(Exception):
    """Raised by a Tamper: reset the connection now."""


@dataclass
class Digitizer:
    """What is behind the port. `counts` (4, samples) are int16 at +-RANGE_V; `losses` are [first, end) samples."""

    counts: Counts
    rate_hz: float = 50_000.0
    step: int = 4000
    dead: int = 0
    losses: Sequence[tuple[int, int]] = ()
    count_from: int = 0
    """What its counter of samples says at the first of them."""
    counter_modulus: int = 2**63
    most_points: int = 1 << 20
    clock_zero_s: float = 1234.5
    errors: deque[str] = field(default_factory=deque)
    selected: list[int] = field(default_factory=list)
    points: int = 1000
    is_real: bool = False
    is_little: bool = False
    now: int = 0
    frame: int = 0
    is_armed: bool = False

    def respond(self, message: str) -> bytes | None:
        """Do a line's commands; give its answers, joined by semicolons, or None where there was no query."""
        answers = [self._one(part.strip().lstrip(":")) for part in message.split(";") if part.strip()]
        given = [answer for answer in answers if answer is not None]
        return b";".join(given) + b"\n" if given else None

    def _one(self, command: str) -> bytes | None:
        for pattern, act in _COMMANDS:
            if match := re.fullmatch(pattern, command, re.IGNORECASE):
                return act(self, *match.groups())
        self.errors.append('-113,"Undefined header"')
        return None

    def reset(self) -> None:
        self.selected, self.is_armed, self.is_real, self.is_little = [], False, False, False

    def next_error(self) -> bytes:
        return (self.errors.popleft() if self.errors else '0,"No error"').encode()

    def select(self, names: str) -> None:
        self.selected += [int(name) - 1 for name in names.split(",")]

    def format(self, kind: str) -> None:
        self.is_real = kind.upper().startswith("REAL")

    def border(self, order: str) -> None:
        self.is_little = order.upper().startswith("SWAP")

    def set_range(self, _input: str, value: str) -> None:
        if float(value) > RANGE_V:
            self.errors.append('-222,"Data out of range"')

    def set_interval(self, value: str) -> None:
        if abs(float(value) * self.rate_hz - 1) > 0.5:
            self.errors.append('-222,"Data out of range"')

    def set_points(self, value: str) -> None:
        self.points = min(int(value), self.most_points)

    def initiate(self) -> None:
        self.frame = self.now
        self.now += self.points + self.dead
        self.is_armed = True

    def complete(self) -> bytes:
        return b"1" if self.frame + self.points <= self.counts.shape[1] else b"0"

    def counter(self) -> bytes:
        self._lose()
        return str((self.count_from + self.now) % self.counter_modulus).encode()

    def remove(self) -> bytes:
        self._lose()
        if not self.is_armed:
            return self._block(0, 0)
        ends = [lost for lost, _ in self.losses if lost > self.now]
        first, self.now = self.now, min(self.now + self.step, self.counts.shape[1], *ends)
        return self._block(first, self.now)

    def continuous(self, state: str) -> None:
        self.is_armed = state.upper() in ("ON", "1")

    def frame_time(self) -> bytes:
        return f"{self.clock_zero_s + self.frame / self.rate_hz:.9f}".encode()

    def frame_data(self) -> bytes:
        return self._block(self.frame, self.frame + self.points)

    def frame_input(self, name: str) -> bytes:
        return self._block(self.frame, self.frame + self.points, [int(name) - 1])

    def _lose(self) -> None:
        for first, end in sorted(self.losses):
            if first <= self.now < end:
                self.now = end

    def _block(self, first: int, end: int, inputs: Sequence[int] | None = None) -> bytes:
        counts = self.counts[inputs or self.selected, first:end].T
        order = "<" if self.is_little else ">"
        volts = counts * (RANGE_V / 32768)
        data = volts.astype(order + "f4").tobytes() if self.is_real else counts.astype(order + "i2").tobytes()
        length = str(len(data)).encode()
        return b"#%d%s%s" % (len(length), length, data)


_COMMANDS: tuple[tuple[str, Callable[..., bytes | None]], ...] = (
    (r"\*IDN\?", lambda _: b"Bench,Digitizer,0,1"),
    (r"\*RST", Digitizer.reset),
    (r"\*CLS", lambda one: one.errors.clear()),
    (r"SYST(?:em)?:ERR(?:or)?\?", Digitizer.next_error),
    (r"FORM(?:at)?:DATA (\w+),\d+", Digitizer.format),
    (r"FORM(?:at)?:BORD(?:er)? (\w+)", Digitizer.border),
    (r"TRIG(?:ger)?:SOUR(?:ce)? IMM(?:ediate)?", lambda _: None),
    (r"ROUT(?:e)?:SCAN \(@([\d,]+)\)", Digitizer.select),
    (r'SENS(?:e)?:FUNC(?:tion)?:ON "XTIM(?:e)?:VOLT(?:age)?(\d)"', Digitizer.select),
    (r"SENS(?:e)?:VOLT(?:age)?(\d):RANG(?:e)? (\S+)", Digitizer.set_range),
    (r"SENS(?:e)?:VOLT(?:age)?(\d):RANG(?:e)?\?", lambda _, __: f"{RANGE_V:.6E}".encode()),
    (r"SENS(?:e)?:SWE(?:ep)?:TINT(?:erval)? (\S+)", Digitizer.set_interval),
    (r"SENS(?:e)?:SWE(?:ep)?:TINT(?:erval)?\?", lambda one: f"{1 / one.rate_hz:.9E}".encode()),
    (r"SENS(?:e)?:SWE(?:ep)?:POIN(?:ts)? (\d+)", Digitizer.set_points),
    (r"SENS(?:e)?:SWE(?:ep)?:POIN(?:ts)?\?", lambda one: str(one.points).encode()),
    (r"INIT(?:iate)?:IMM(?:ediate)?", Digitizer.initiate),
    (r"INIT(?:iate)?:CONT(?:inuous)? (\w+)", Digitizer.continuous),
    (r"ABOR(?:t)?", lambda one: one.continuous("OFF")),
    (r"\*OPC\?", Digitizer.complete),
    (r"DATA:COUN(?:t)?\?", Digitizer.counter),
    (r"DATA:REM(?:ove)?\?", Digitizer.remove),
    (r"DATA:TIME\?", Digitizer.frame_time),
    (r"DATA\?", Digitizer.frame_data),
    (r'SENS(?:e)?:DATA\? "XTIM(?:e)?:VOLT(?:age)?(\d)"', Digitizer.frame_input),
)


@dataclass
class Server:
    """A port with a digitizer behind it, one connection after the other. `piece` is the most bytes of one send."""

    digitizer: Digitizer
    tamper: Tamper = lambda _, answer: answer
    piece: int = 1 << 20
    received: list[str] = field(default_factory=list)
    connections: int = 0

    def __post_init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(0.02)
        self._stop = threading.Event()
        self.idle = threading.Event()
        """Set while nobody is connected."""
        self.idle.set()
        self._thread = threading.Thread(target=self._serve, name="scpi-server")

    @property
    def resource_name(self) -> str:
        """The VISA name of the port."""
        return f"TCPIP0::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"

    def address(self, **options: object) -> str:
        """The address with these options."""
        return f"scpi:{self.resource_name}?" + "&".join(f"{key}={value}" for key, value in options.items())

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()
        self._listener.close()

    def _serve(self) -> None:
        while not self._stop.is_set():
            try:
                connection, _ = self._listener.accept()
            except TimeoutError:
                continue
            self.connections += 1
            self.idle.clear()
            with connection:
                self._talk(connection)
            self.idle.set()

    def _talk(self, connection: socket.socket) -> None:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection.settimeout(0.02)
        waiting = b""
        try:
            while not self._stop.is_set():
                line, newline, rest = waiting.partition(b"\n")
                if newline:
                    waiting = rest
                    self._send(connection, line.decode("ascii"))
                elif not (more := self._more(connection)):
                    if more is not None:
                        return
                else:
                    waiting += more
        except HangUp:
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        except OSError:
            return

    def _more(self, connection: socket.socket) -> bytes | None:
        try:
            return connection.recv(4096)
        except TimeoutError:
            return None

    def _send(self, connection: socket.socket, message: str) -> None:
        self.received.append(message)
        answer = self.digitizer.respond(message)
        answer = self.tamper(message, answer) if answer is not None else None
        for at in range(0, len(answer or b""), self.piece):
            view = memoryview(answer or b"")[at : at + self.piece]
            while view and not self._stop.is_set():
                try:
                    view = view[connection.send(view) :]
                except TimeoutError:
                    continue


@contextmanager
def serving(digitizer: Digitizer, tamper: Tamper | None = None, piece: int = 1 << 20) -> Iterator[Server]:
    """Have the digitizer on a port for a while."""
    server = Server(digitizer, tamper or (lambda _, answer: answer), piece)
    server.start()
    try:
        yield server
    finally:
        server.stop()


def noise(samples: int, seed: int = 1) -> Counts:
    """Samples of four inputs in which every place can be told from every other."""
    return np.random.default_rng(seed).integers(-32768, 32768, (4, samples), np.int16)
