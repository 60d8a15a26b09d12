from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.monitor.publish.mosquitto import Mosquitto


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep outboxes out of the home of whoever runs the tests."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture
def open_to_all(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that lets everybody in."""
    running = Mosquitto(tmp_path).start()
    yield running
    running.kill()


@pytest.fixture
def absent(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that lets everybody in, once it is started."""
    made = Mosquitto(tmp_path)
    yield made
    made.kill()
