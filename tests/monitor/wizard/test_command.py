"""`coilcall setup` as it is run: without a terminal, and on a real one."""

import os
import pty
import select
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.setup import Role, load_setup

FIXTURES = Path(__file__).parents[3] / "fixtures"
IDLE = str(FIXTURES / "healthy-idle")
DEADLINE_S = 30.0
Run = Callable[..., tuple[int, str, list[str]]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run setup in this process, without a terminal: exit status, stdout, lines of stderr."""

    def run(*arguments: object) -> tuple[int, str, list[str]]:
        with pytest.raises(SystemExit) as end:
            main(["setup", *map(str, arguments)])
        out, err = capsys.readouterr()
        return int(end.value.code or 0), out, err.splitlines()

    return run


def test_options_alone_write_a_file_draw_the_wiring_and_say_what_comes_next(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    wires = ("--wire", "in1=feed:x10", "--wire", "in2=control:3", "--wire", "in3=answers")
    status, out, err = run(file, "--order", "1342", *wires)
    assert (status, err) == (0, [])
    setup = load_setup(file)
    assert setup.engine.firing_order == (1, 3, 4, 2)
    assert [(one.role, one.cylinder, one.scale) for one in setup.channel] == [
        (Role.SUPPLY, None, 10.0), (Role.CONTROL, 3, 1.0), (Role.ACKNOWLEDGEMENT, None, 1.0),
    ]  # fmt: skip
    assert "[10:1]" in out
    assert out.splitlines()[-1].endswith(f"coilcall check ADDRESS --setup {file}")


def test_a_recording_is_looked_at_and_only_what_it_cannot_tell_is_needed(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    order = ("--order", "1-4-2-5-3-6", "--from", IDLE)
    status, _, err = run(file, *order)
    assert status == 2
    assert err[-1].startswith("coilcall: Whose control is in2: cylinder? Give --wire in2=control:1")
    assert not file.exists()
    status, out, err = run(file, *order, "--wire", "in2=control:1")
    assert status == 0
    assert [line for line in err if line.startswith("in")] == [
        "in1 supply: feed (firm)", "in2 control1: control (firm)", "in3 acknowledgement: answers (firm)",
    ]  # fmt: skip
    assert [one.role for one in load_setup(file).channel] == [Role.SUPPLY, Role.CONTROL, Role.ACKNOWLEDGEMENT]
    assert f"analyze {IDLE} --setup {file}" in out


def test_what_was_said_and_is_not_what_the_samples_show_is_doubted(run: Run, tmp_path: Path) -> None:
    _, out, _ = run(tmp_path / "van.toml", "--order", "1342", "--from", IDLE, "--wire", "in2=control:1")
    assert "6 answers for each call" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "How do the cylinders lie? Give --order"),
        (("--wire", "in1=feed", "--wire", "in1=answers"), "an input has one wire"),
        (("--yes",), "How do the cylinders lie? Give --order"),
        (("--order", "1-3-4-2"), "Give --wire"),
        (("--order", "1-3-4"), "must name each of 1-2-3 once"),
        (("--order", "x"), "no row of numbers"),
        (("--order", "1-2", "--wire", "in1"), "not like in2=control:1"),
        (("--order", "1-2", "--wire", "in1=feed"), "no control and no acknowledgement"),
        (("--order", "1-2", "--wire", "in1=control:9"), "there is no cylinder 9"),
        (
            ("--order", "1-2-3", "--waste-spark", "--wire", "in1=control:1"),
            "sparks_per_cycle: 2 needs cylinders in pairs",
        ),
        (("--order", "-".join(map(str, range(1, 18)))), "cylinders: 17 is not right: it should be less than"),
        (("--order", "1-2", "--wire", "in1=control:99"), "cylinder: 99 is not right: it should be less than"),
        (("--order", "1-2", "--from", IDLE, "--wire", "in9=control:1"), "in9 is not in"),
        (("--from", "nothing-there.csv"), "nothing-there.csv"),
        (("--from", "simulated:?pace=0&cylinders=99"), "cylinders"),
    ],
)
def test_what_is_missing_or_wrong_is_said_in_one_line_and_nothing_written(
    run: Run, tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    status, out, err = run(tmp_path / "van.toml", *arguments)
    assert (status, out) == (2, "")
    assert words in err[-1]
    assert err[-1].startswith("coilcall: ")
    assert len([line for line in err if line.startswith("coilcall: ")]) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["n" * 300, "nowhere/van.toml", "."])
def test_a_place_that_takes_no_file_is_said_before_anything_is_asked(run: Run, tmp_path: Path, name: str) -> None:
    status, out, err = run(tmp_path / name, "--order", "1-2", "--wire", "in1=answers")
    assert (status, out, len(err)) == (2, "", 1)
    assert err[0].startswith(f"coilcall: {tmp_path / name}: ")


def test_a_file_that_is_there_wants_force(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    file.write_text("mine", encoding="utf-8")
    said = (file, "--order", "1-2", "--wire", "in1=answers")
    assert run(*said)[0] == 2
    assert file.read_text(encoding="utf-8") == "mine"
    assert run(*said, "--force")[0] == 0
    assert load_setup(file).engine.cylinders == 2


class Terminal:
    """A program on a terminal of its own."""

    def __init__(self, ours: int, process: "subprocess.Popen[bytes]") -> None:
        self._ours, self.process, self.shown = ours, process, ""

    def type(self, text: str, after: str) -> None:
        """Wait until `after` shows beyond what was seen, then type."""
        self._read_until(after)
        os.write(self._ours, text.encode())

    def interrupt(self, after: str) -> None:
        """Press Ctrl-C, and again while nothing happens: one that comes just before input() waits is seen after it."""
        self._read_until(after)
        until = time.monotonic() + DEADLINE_S
        while self.process.poll() is None and time.monotonic() < until:
            os.write(self._ours, b"\x03")
            with suppress(subprocess.TimeoutExpired):
                self.process.wait(0.5)

    def end(self) -> int:
        """Read to the end; give the exit status."""
        self._read_until(None)
        return self.process.wait(DEADLINE_S)

    def _read_until(self, text: str | None) -> None:
        fresh, until = "", time.monotonic() + DEADLINE_S
        while text is None or text not in fresh:
            assert select.select([self._ours], [], [], max(0.0, until - time.monotonic()))[0], f"{text}: {fresh}"
            try:
                fresh += os.read(self._ours, 65536).decode(errors="replace")
            except OSError:  # how Linux tells that nobody holds the other end any more
                break
        self.shown += fresh
        assert text is None or text in fresh, fresh


@contextmanager
def on_a_terminal(*arguments: str, cwd: Path) -> Iterator[Terminal]:
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    command = [sys.executable, "-X", "utf8", "-c", "from monitor.cli import main; main()", "setup", *arguments]
    paths = os.pathsep.join([str(FIXTURES.parent), os.environ.get("PYTHONPATH", "")])
    process = subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, cwd=cwd, start_new_session=True,
        env={**os.environ, "PYTHONPATH": paths},
        preexec_fn=lambda: __import__("fcntl").ioctl(0, termios.TIOCSCTTY, 0),
    )  # fmt: skip
    os.close(theirs)
    try:
        yield Terminal(ours, process)
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        os.close(ours)


def test_on_a_terminal_a_recording_is_told_of_and_enter_takes_it(tmp_path: Path) -> None:
    with on_a_terminal("van.toml", "--from", IDLE, cwd=tmp_path) as terminal:
        terminal.type("the van\n", "vehicle?")
        terminal.type("V6\n", "lie? [6 in line]")
        terminal.type("?\n", "fire? [1-2-3-4-5-6]")
        terminal.type("2\n", "fire? [1-2-3-4-5-6]")
        terminal.type("\n", "unevenly spaced?")
        terminal.type("\n", "waste spark")
        terminal.type("\n", "in1 on? [feed]")
        terminal.type("10:1\n", "front of in1")
        terminal.type("\n", "in2 on? [control]")
        terminal.type("\n", "cylinder? [1]")
        terminal.type("\n", "front of in2")
        terminal.type("back\n", "in3 on? [answers]")
        terminal.type("\n", "front of in2")
        terminal.type("\n", "in3 on? [answers]")
        terminal.type("\n", "answer on in3? [all]")
        terminal.type("\n", "front of in3")
        terminal.type("yes\n", "Write van.toml")
        assert terminal.end() == 0
    setup = load_setup(tmp_path / "van.toml")
    assert (setup.vehicle.label, setup.engine.firing_order) == ("the van", (1, 4, 2, 5, 3, 6))
    assert [one.scale for one in setup.channel] == [10.0, 1.0, 1.0]
    assert "feed (firm)" in terminal.shown
    assert "tens of kV" in terminal.shown
    told = [line for line in terminal.shown.replace("\r", "").splitlines() if IDLE not in line]
    assert max(map(len, told)) <= 80
    assert "van.toml is written" in terminal.shown


def test_ctrl_c_at_the_last_question_leaves_nothing_behind(tmp_path: Path) -> None:
    said = ("--order", "1-2", "--wire", "in1=answers:1-2:x1")
    with on_a_terminal("van.toml", *said, cwd=tmp_path) as terminal:
        terminal.type("\n", "vehicle?")
        terminal.type("\n", "unevenly spaced?")
        terminal.type("\n", "waste spark")
        terminal.interrupt("Write van.toml")
        assert terminal.end() == 130
    assert "Nothing was written." in terminal.shown
    assert list(tmp_path.iterdir()) == []


def test_no_at_the_last_question_keeps_the_file_that_was_there(tmp_path: Path) -> None:
    (tmp_path / "van.toml").write_text("mine", encoding="utf-8")
    said = ("--order", "1-2", "--wire", "in1=answers:1-2:x1")
    with on_a_terminal("van.toml", *said, cwd=tmp_path) as terminal:
        for words in ("vehicle?", "unevenly spaced?", "waste spark", "will be replaced)? [no]"):
            terminal.type("\n", words)
        assert terminal.end() == 0
    assert (tmp_path / "van.toml").read_text(encoding="utf-8") == "mine"
