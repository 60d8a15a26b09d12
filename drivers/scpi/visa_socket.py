"""pyvisa-py's raw socket, read straight into memory that is there already.

Its own session reads 4096 bytes at a time, copies them three times, loses what has come when the time is over, and
takes a connection that was closed for one that is silent. This one does none of that, and sends small commands at once.
"""

import socket
import struct
import sys
from typing import Any

from pyvisa.constants import InterfaceType, StatusCode
from pyvisa_py.sessions import Session
from pyvisa_py.tcpip import TCPIPSocketSession

_TIME_IS_OVER = TimeoutError if sys.platform == "win32" else BlockingIOError
"""What a system's sockets raise; elsewhere than on Windows a TimeoutError is a connection that was given up."""


class PromptSocketSession(TCPIPSocketSession):  # type: ignore[misc]  # pyvisa-py is not annotated
    """A session that gives what has come as soon as something has. `timeout` is in seconds."""

    interface: Any  # None until connected
    timeout: float | None

    def _connect(self) -> StatusCode:
        """Raise OSError where nobody answers; pyvisa-py's own finds out only when it writes."""
        peer, patience_s = (self.parsed.host_address, int(self.parsed.port)), self.open_timeout / 1000
        self.interface = socket.create_connection(peer, patience_s)
        self.interface.settimeout(None)
        self.interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._keep_time(self.interface)
        return StatusCode.success

    def read_into(self, memory: memoryview, *, fill: bool) -> int:
        """Receive at least one byte, or with `fill` all that the time allows; 0 when nothing came in time.

        Raises OSError when the connection is lost.
        """
        try:
            received: int = self.interface.recv_into(memory, 0, socket.MSG_WAITALL if fill else 0)
        except _TIME_IS_OVER:
            return 0
        if not received:
            raise ConnectionResetError("the instrument closed the connection")
        return received

    def read(self, count: int) -> tuple[bytes, Any]:
        """Do what viRead does, for callers that know only that."""
        memory = bytearray(count)
        received = self.read_into(memoryview(memory), fill=False)
        return bytes(memory[:received]), StatusCode.success if received else StatusCode.error_timeout

    def write(self, data: bytes) -> tuple[int, Any]:
        """Send what can be sent within the time."""
        try:
            sent = self.interface.send(data)
        except _TIME_IS_OVER:
            return 0, StatusCode.error_timeout
        return sent, StatusCode.success if sent == len(data) else StatusCode.error_io

    def _set_timeout(self, attribute: Any, value: int) -> Any:  # noqa: ANN401  as inherited
        """Let the system itself keep the time: one call then fills a whole block."""
        status = super()._set_timeout(attribute, value)
        if self.interface is not None:
            self._keep_time(self.interface)
        return status

    def _keep_time(self, interface: socket.socket) -> None:
        limit = _timeval(self.timeout or 0.0)
        interface.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, limit)
        interface.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, limit)


def _timeval(seconds: float) -> bytes:
    """Say a time as the system's sockets take it; 0 is for ever."""
    ms = round(seconds * 1000)
    return struct.pack("L", ms) if sys.platform == "win32" else struct.pack("ll", ms // 1000, ms % 1000 * 1000)


def install() -> None:
    """Let pyvisa-py open raw sockets with this session."""
    kind = (InterfaceType.tcpip, "SOCKET")
    if Session.get_session_class(*kind) is not PromptSocketSession:
        Session.register(*kind)(PromptSocketSession)
