import re
import subprocess
import sys
from pathlib import Path

from monitor.cli import cli
from monitor.flags import Kind
from monitor.setup import Role, parse_setup

HOUSE = Path(__file__).parents[1]
README = (HOUSE / "README.md").read_text(encoding="utf-8")


def _fenced(mark: str) -> str:
    """Give the text of the fence right below a mark."""
    found = re.search(rf"<!-- {re.escape(mark)} -->\n```\w*\n(.*?)\n```", README, re.DOTALL)
    assert found is not None, mark
    return found[1]


def test_the_table_shown_is_the_one_that_analyze_prints() -> None:
    command = "coilcall analyze fixtures/cylinder-4-now-and-then"
    arguments = command.split()[1:]
    code = f"from monitor.cli import main; main({arguments!r})"
    run = subprocess.run(
        [sys.executable, "-X", "utf8", "-c", code], cwd=HOUSE, capture_output=True, text=True, check=True, timeout=60
    )
    assert [line.rstrip() for line in run.stdout.splitlines()] == _fenced(command).split("\n")


def test_exactly_the_commands_that_exist_are_listed() -> None:
    listed = re.findall(r"^\| `coilcall (\w+)", README, re.MULTILINE)
    assert sorted(listed) == sorted(cli.commands)


def test_every_option_named_belongs_to_a_command() -> None:
    named = set(re.findall(r"coilcall \w+[^`\n]*? (--[\w-]+)", README)) | set(re.findall(r"`(--[\w-]+)", README))
    known = {text for command in cli.commands.values() for one in command.params for text in one.opts} | {"--help"}
    assert named
    assert named <= known


def test_exactly_the_flags_that_some_condition_raises_are_listed() -> None:
    source = "".join(path.read_text(encoding="utf-8") for path in (HOUSE / "monitor" / "conditions").glob("*.py"))
    raised = {Kind[name].value for name in re.findall(r"Kind\.([A-Z_]+)", source)}
    rows = re.findall(r"^\| (`[a-z]+-.*?) \|", README, re.MULTILINE)
    assert {kind for row in rows for kind in re.findall(r"`([a-z-]+)`", row)} == raised


def test_the_set_up_shown_is_understood_and_its_limit_is_the_default() -> None:
    found = re.search(r"```toml\n(.*?)```", README, re.DOTALL)
    assert found is not None
    setup = parse_setup(found[1], "README.md")
    assert [channel.role for channel in setup.channel] == [Role.SUPPLY, Role.CONTROL, Role.ACKNOWLEDGEMENT]
    assert setup.limits == type(setup.limits)()


def test_every_simulated_engine_shown_can_be_made() -> None:
    from drivers.registry import source_for

    addresses = re.findall(r"'(simulated:[^']*)'", README)
    assert len(addresses) >= 2
    for address in addresses:
        source_for(address).open()


def test_every_file_linked_is_there() -> None:
    links = [link for link in re.findall(r"\]\(([^)]+)\)", README) if "://" not in link]
    assert links
    assert [link for link in links if not (HOUSE / link).exists()] == []


def test_every_role_is_listed() -> None:
    assert all(f"`{role}`" in README for role in Role)
