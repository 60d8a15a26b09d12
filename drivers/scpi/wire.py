"""Messages to and from one instrument over VISA, in steps short enough to be stopped."""

import functools
import threading
from collections.abc import Callable
from typing import ParamSpec, Protocol, TypeVar

import pyvisa
from pyvisa.constants import InterfaceType, ResourceAttribute, StatusCode
from pyvisa.errors import VisaIOError
from pyvisa.resources import MessageBasedResource

from acquire.clock import Clock
from acquire.errors import AddressError, SourceLost, one_line
from drivers.scpi.block488 import MOST_BYTES, BlockHeader, parse_header
from drivers.scpi.dialect import Data, Message
from drivers.scpi.visa_socket import PromptSocketSession, install

STEP_MS = 200
"""How long one VISA call may last: a close from another thread need not wait longer."""
CONNECT_STEP_MS, CONNECT_STEPS = 400, 8
LINE_BYTES = 4096
LONGEST_LINE = 1 << 16
LONGEST_BEFORE_BLOCK = 256
PIECE_BYTES = 1 << 20

Arguments = ParamSpec("Arguments")
Result = TypeVar("Result")


class ReadStep(Protocol):
    """Receives into memory within one step: at least one byte, or with `fill` all that comes; 0 when nothing came."""

    def __call__(self, memory: memoryview, *, fill: bool) -> int:
        """Give how many bytes were received."""
        ...


class Silent(Exception):
    """Nothing came for as long as was allowed."""


class Closed(Exception):
    """Somebody closed the wire meanwhile."""


@functools.cache
def manager(library: str) -> pyvisa.ResourceManager:
    """Give the process's only manager of a VISA library, like "@py". Raises AddressError where there is none."""
    try:
        found = pyvisa.ResourceManager(library)
    except (OSError, ValueError, VisaIOError) as error:
        raise AddressError(f"visa={library}: no such VISA library: {one_line(error)}") from error
    install()
    return found


class Wire:
    """One instrument's resource. One thread uses it; `close` may come from any.

    `patience_s` is how long an answer may keep silent, before and within it. All raise SourceLost when the connection
    breaks or what comes makes no sense, Silent when nothing comes, Closed after `close`.
    """

    def __init__(self, name: str, message: Message, clock: Clock, patience_s: float) -> None:
        self._name, self._message, self._clock, self._patience_s = name, message, clock, patience_s
        self._lock = threading.Lock()
        self.closing = threading.Event()
        self._resource: MessageBasedResource | None = None
        self._farewell: tuple[str, ...] = ()
        self._read_step: ReadStep = self._read_any
        self._write_step: Callable[[bytes], tuple[int, object]] = self._write_any
        self._has_ended = False
        self._line_memory = memoryview(bytearray(LINE_BYTES))
        self._ahead = bytearray()
        self._memory = bytearray()

    def connect(self, library: str, resource_name: str, farewell: tuple[str, ...]) -> None:
        """Open the resource; `farewell` is what to write before it is closed. Raises AddressError, Closed."""
        for step in range(1, CONNECT_STEPS + 1):
            try:
                self._do(self._connect, library, resource_name, farewell)
                break
            except (AddressError, Closed):
                raise
            except Exception as error:  # backends raise bare Exceptions too
                cause = error.__cause__ or error
                if not _is_timeout(cause) or step == CONNECT_STEPS:
                    raise AddressError(f"{self._name}: cannot be opened: {one_line(cause)}") from error

    def write(self, text: str) -> None:
        """Send one line."""
        data = self._line(text)
        sent, _ = self._do(self._write_step, data)
        if sent != len(data):
            raise SourceLost(f"{self._name}: took only {sent} of {len(data)} bytes of {text!r}")

    def ask(self, text: str, patience_s: float | None = None) -> str:
        """Send a query and give its answer, without the termination and blanks around it."""
        self.begin(text)
        end = self._message.read_termination.encode()
        while (at := self._ahead.find(end)) < 0 and not self._has_ended:
            if len(self._ahead) > LONGEST_LINE:
                raise SourceLost(f"{self._name}: {text} was answered without {end!r} in {LONGEST_LINE} bytes")
            self._read_ahead(patience_s or self._patience_s)
        line = self._ahead[:at] if at >= 0 else self._ahead
        answer = line.decode("ascii", "backslashreplace").strip()
        del self._ahead[: at + len(end) if at >= 0 else None]
        return answer

    def ask_data(self, text: str, form: Data, expected_bytes: int | None = None) -> tuple[str, memoryview]:
        """Send a query and give its answer as `read_data` does."""
        self.begin(text)
        return self.read_data(text, form, expected_bytes)

    def begin(self, query: str) -> None:
        """Send a query whose answer is to be read later, before anything else is sent."""
        self._ahead.clear()
        self._has_ended = False
        self.write(query)

    def read_data(self, text: str, form: Data, expected_bytes: int | None = None) -> tuple[str, memoryview]:
        """Give what stands before the data, and the data, which may have to be so many bytes.

        The data are memory that the next call uses again.
        """
        before, length = self._read_header(text) if form.header == "block" else ("", expected_bytes)
        end = form.termination.encode()
        length = expected_bytes if length is None else length
        if length is None:
            return before, self._read_to_the_end(end or b"\n")
        if expected_bytes not in (None, length):
            raise SourceLost(f"{self._name}: {text} brought {length} bytes, not {expected_bytes}")
        whole = self._read_exactly(length + len(end))
        if whole[length:] != end:
            raise SourceLost(f"{self._name}: after the data of {text} came {bytes(whole[length:])!r}, not {end!r}")
        return before, whole[:length]

    def close(self) -> None:
        """Let every call end, and give the resource back: here, or where one is still under way."""
        self.closing.set()
        if self._lock.acquire(blocking=False):
            try:
                self._dispose()
            finally:
                self._lock.release()

    # -- one step

    def _do(self, act: Callable[Arguments, Result], *args: Arguments.args, **kwargs: Arguments.kwargs) -> Result:
        """Make one VISA call, alone."""
        try:
            with self._lock:
                if self.closing.is_set():
                    raise Closed
                return act(*args, **kwargs)
        except VisaIOError as error:
            raise SourceLost(f"{self._name}: {one_line(error)}") from error
        except OSError as error:
            raise SourceLost(f"{self._name}: {one_line(error.strerror or error)}") from error
        finally:
            if self.closing.is_set():
                self.close()

    def _connect(self, library: str, resource_name: str, farewell: tuple[str, ...]) -> None:
        resource = manager(library).open_resource(resource_name, open_timeout=CONNECT_STEP_MS)
        if not isinstance(resource, MessageBasedResource):
            resource.close()
            raise AddressError(f"{self._name}: is a resource that takes no messages")
        resource.timeout = STEP_MS
        self._resource, self._farewell = resource, farewell
        session = getattr(resource.visalib, "sessions", {}).get(resource.session)
        if isinstance(session, PromptSocketSession):
            self._read_step, self._write_step = session.read_into, session.write
        elif resource.resource_class == "SOCKET":  # a read then gives what there is, instead of losing it at a timeout
            resource.set_visa_attribute(ResourceAttribute.suppress_end_enabled, False)

    def _write_any(self, data: bytes) -> tuple[int, object]:
        assert self._resource is not None
        return self._resource.visalib.write(self._resource.session, data)

    def _read_any(self, memory: memoryview, *, fill: bool) -> int:  # noqa: ARG002  as a prompt socket has it
        """Receive over whatever VISA has. An end of the message is noted where the link tells it."""
        assert self._resource is not None
        resource = self._resource
        try:
            with resource.ignore_warning(StatusCode.success_max_count_read):
                data, status = resource.visalib.read(resource.session, min(len(memory), PIECE_BYTES))
        except VisaIOError as error:
            if not _is_timeout(error):
                raise
            return 0
        memory[: len(data)] = data
        self._has_ended = status == StatusCode.success and _tells_ends(resource)
        return len(data)

    def _receive(self, memory: memoryview, patience_s: float, *, fill: bool = False) -> int:
        """Wait for at least one byte, or for all that fit as long as they come. Raises Silent."""
        until = self._clock.now() + patience_s
        while not (received := self._do(self._read_step, memory, fill=fill)) and not self._has_ended:
            if self._clock.now() >= until:
                raise Silent
        return received

    # -- whole answers

    def _read_ahead(self, patience_s: float) -> None:
        self._ahead += self._line_memory[: self._receive(self._line_memory, patience_s)]

    def _read_header(self, text: str) -> tuple[str, int | None]:
        header = None
        while header is None:
            self._read_ahead(self._patience_s)
            header = self._header(text)
        before = self._ahead[: self._ahead.find(b"#")]
        del self._ahead[: len(before) + header.offset]
        return before.decode("ascii", "backslashreplace").strip(" ;,"), header.length

    def _header(self, text: str) -> BlockHeader | None:
        """Understand what has come; None where more is needed."""
        at = self._ahead.find(b"#", 0, LONGEST_BEFORE_BLOCK)
        before = self._ahead[:at] if at >= 0 else self._ahead
        if b"\n" in before or (at < 0 and (self._has_ended or len(before) >= LONGEST_BEFORE_BLOCK)):
            raise SourceLost(f"{self._name}: {text} brought no block, but {bytes(before[:32])!r}")
        try:
            return None if at < 0 else parse_header(bytes(self._ahead[at : at + 11]))
        except ValueError as error:
            raise SourceLost(f"{self._name}: {text}: {error}") from error

    def _read_exactly(self, bytes_: int) -> memoryview:
        whole = self._room(bytes_)
        filled = min(len(self._ahead), bytes_)
        whole[:filled] = self._ahead[:filled]
        if len(self._ahead) > bytes_:
            raise SourceLost(f"{self._name}: {bytes(self._ahead[bytes_:][:32])!r} came after the answer")
        while filled < bytes_:
            filled += self._receive(whole[filled:], self._patience_s, fill=True)
            if self._has_ended and filled < bytes_:
                raise SourceLost(f"{self._name}: the answer ended after {filled} of {bytes_} bytes")
        return whole

    def _read_to_the_end(self, end: bytes) -> memoryview:
        """Read an indefinite block. Where no end of message is told, it is a termination that nothing follows."""
        while not self._has_ended:
            try:
                if len(self._ahead) > MOST_BYTES:
                    raise SourceLost(f"{self._name}: a block of indefinite length goes on beyond {MOST_BYTES} bytes")
                quiet = STEP_MS / 1000 if self._ahead.endswith(end) else self._patience_s
                self._read_ahead(min(quiet, self._patience_s))
            except Silent:
                if not self._ahead.endswith(end):
                    raise
                break
        if not self._ahead.endswith(end):
            raise SourceLost(f"{self._name}: a block of indefinite length ended without {end!r}")
        return memoryview(bytes(self._ahead))[: -len(end)]

    def _room(self, bytes_: int) -> memoryview:
        """Give memory that is used again, so that its pages are there already."""
        if len(self._memory) < bytes_:
            self._memory = bytearray(bytes_)
        return memoryview(self._memory)[:bytes_]

    def _dispose(self) -> None:
        resource, self._resource = self._resource, None
        if resource is None:
            return
        for text in self._farewell:
            _try(functools.partial(resource.visalib.write, resource.session, self._line(text)))
        _try(resource.close)

    def _line(self, text: str) -> bytes:
        return (text + self._message.write_termination).encode("ascii")


def _is_timeout(error: BaseException) -> bool:
    return isinstance(error, TimeoutError) or getattr(error, "error_code", None) == StatusCode.error_timeout


def _try(last_act: Callable[[], object]) -> None:
    """Do what may fail because the instrument is gone already."""
    try:
        last_act()
    except Exception:  # noqa: BLE001  nobody is there any more to be told
        return


def _tells_ends(resource: MessageBasedResource) -> bool:
    """Whether its link marks the end of a message; raw sockets and serial lines do not."""
    return resource.resource_class == "INSTR" and resource.interface_type != InterfaceType.asrl
