"""A real broker, one a test, on a port of its own."""

import os
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest

PROGRAM = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
needs_broker = pytest.mark.skipif(PROGRAM is None, reason="there is no mosquitto here (Debian: apt install mosquitto)")
_START_S = 10.0


class Mosquitto:
    """Not started yet; `lines` are added to its configuration. What it retains outlasts a restart."""

    def __init__(self, folder: Path, *lines: str) -> None:
        self.port = _free_port()
        self._config = folder / "mosquitto.conf"
        self._config.write_text(
            "\n".join([f"listener {self.port} 127.0.0.1", "user root",
                       *(lines or ["allow_anonymous true"])]) + "\n"
        )  # fmt: skip
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> "Mosquitto":
        """Start it; it listens when this returns."""
        assert PROGRAM is not None
        self._process = subprocess.Popen(
            [PROGRAM, "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until = time.monotonic() + _START_S
        while not self._listens():
            assert self._process.poll() is None, "the broker ended"
            assert time.monotonic() < until, "the broker does not listen"
            time.sleep(0.01)
        return self

    def _listens(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def kill(self) -> None:
        """End it as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def signal(self, number: int) -> None:
        """SIGSTOP makes it a broker that answers nothing, SIGCONT one that has woken."""
        assert self._process is not None
        self._process.send_signal(number)

    def address(self, root: str = "coilcall/van", user: str = "") -> str:
        """Our address for it."""
        return f"mqtt://{user and user + '@'}127.0.0.1:{self.port}/{root}"


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])
