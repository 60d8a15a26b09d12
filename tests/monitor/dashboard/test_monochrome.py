import subprocess
import sys

import pytest

from monitor.dashboard import monochrome


@pytest.mark.parametrize(
    ("environment", "has_colours"),
    [
        ({"TERM": "xterm-256color"}, True),
        ({"TERM": "linux"}, True),
        ({"TERM": "vt100"}, False),
        ({"TERM": "no-such-terminal"}, True),
        ({}, True),
        ({"TERM": "vt100", "TEXTUAL_COLOR_SYSTEM": "truecolor"}, True),
    ],
)
def test_terminfo_says_whether_a_terminal_has_colours(environment: dict[str, str], has_colours: bool) -> None:
    """In a process of its own each: what terminfo says is looked up once."""
    pytest.importorskip("curses")
    code = "from monitor.dashboard.monochrome import has_colours; print(has_colours())"
    asked = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    assert asked.stdout.strip() == str(has_colours)


@pytest.mark.parametrize(("value", "is_monochrome"), [("1", True), ("0", True), ("", False), (None, False)])
def test_no_color_counts_when_it_is_there_and_not_empty(
    value: str | None, is_monochrome: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As no-color.org has it."""
    monkeypatch.setattr(monochrome, "has_colours", lambda: True)
    if value is None:
        monkeypatch.delenv("NO_COLOR", raising=False)
    else:
        monkeypatch.setenv("NO_COLOR", value)
    assert monochrome.is_monochrome() == is_monochrome
