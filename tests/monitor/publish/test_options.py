from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import cli, main

BROKER = "mqtt://127.0.0.1:1/van"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["log", "simulated:", "--mqtt-commands"], "belong to --mqtt URL, which is not there"),
        (["log", "simulated:", "--mqtt-ca", "ca.crt"], "belong to --mqtt URL, which is not there"),
        (["log", "simulated:", "--mqtt", "mqtt://host"], "names no topic root"),
        (["log", "simulated:", "--mqtt", "http://host/van"], "is not understood; write mqtt://"),
        (["log", "simulated:", "--mqtt", BROKER, "--mqtt-password-file", "absent"], "absent: the broker's password"),
        (["log", "simulated:", "--mqtt", "mqtts://host/van", "--mqtt-ca", "absent"], "absent: cannot be used for TLS"),
        (["log", "simulated:", "--mqtt", BROKER, "--mqtt-ca", "ca.crt"], "belong to mqtts://"),
        (["watch", BROKER, "--record", "drive"], "come no samples"),
        (["watch", BROKER, "--flex"], "come no samples"),
        (["watch", BROKER, "--mqtt", BROKER], "leave --mqtt out"),
        (["watch", BROKER, "--mqtt-commands"], "leave --mqtt out"),
        (["watch", "simulated:", "--mqtt", BROKER], "--mqtt needs --record FOLDER"),
    ],
)
def test_what_cannot_be_meant_ends_in_one_line_with_status_2_and_nothing_is_written(
    arguments: list[str],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("monitor.commands.watch.needs_terminal", lambda _: None)
    with pytest.raises(SystemExit) as end:
        main(arguments)
    (line,) = capsys.readouterr().err.splitlines()
    assert end.value.code == 2
    assert words in line
    assert list(tmp_path.glob("*")) in ([], [tmp_path / "state"])


@pytest.mark.parametrize("command", ["log", "watch"])
def test_the_help_says_where_the_password_goes(command: str) -> None:
    text = " ".join(CliRunner().invoke(cli, [command, "--help"]).output.split())
    assert "The password never stands here: set COILCALL_MQTT_PASSWORD" in text
