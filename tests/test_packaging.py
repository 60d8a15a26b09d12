import ast
import subprocess
import sys
import tomllib
from importlib.metadata import distributions, entry_points, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

HOUSE = Path(__file__).parents[1]
PACKAGES = {"acquire", "drivers", "monitor"}
CONFIG = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))
PROJECT = CONFIG["project"]
LOCK = (HOUSE / "requirements.lock").read_text(encoding="utf-8")


def test_no_other_installed_distribution_ships_a_package_or_module_of_our_names() -> None:
    seen = 0
    for distribution in distributions():
        name = canonicalize_name(distribution.name)
        files = distribution.files or []
        seen += bool(files) and name != "coilcall"
        tops = {file.parts[0].removesuffix(".py") for file in files}
        assert name == "coilcall" or not tops & PACKAGES, f"{name} ships {tops & PACKAGES}"
    assert seen > 10


def test_these_are_the_packages_that_the_wheel_ships() -> None:
    assert set(CONFIG["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]) == PACKAGES


def test_every_dependency_is_imported_and_every_import_is_a_dependency() -> None:
    trees = [ast.parse(path.read_text(encoding="utf-8")) for name in PACKAGES for path in (HOUSE / name).rglob("*.py")]
    nodes = [node for tree in trees for node in ast.walk(tree)]
    names = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}
    tops = {name.split(".")[0].replace("_", "-") for name in names if name.split(".")[0] not in sys.stdlib_module_names}
    tops = {{"serial": "pyserial", "paho": "paho-mqtt"}.get(top, top) for top in tops}
    # What pydantic says is wrong is typed by its core, which it pins; -typeshed is the type checker's own.
    imported = tops - PACKAGES - {"pydantic-core", "-typeshed"}
    assert imported == {Requirement(one).name for one in PROJECT["dependencies"]}


@pytest.mark.parametrize("group", ["console_scripts", "coilcall.sources"])
def test_every_entry_point_of_ours_leads_to_something_callable(group: str) -> None:
    declared = PROJECT["scripts"] if group == "console_scripts" else PROJECT["entry-points"][group]
    ours = {point.name: point for point in entry_points(group=group) if point.dist and point.dist.name == "coilcall"}
    assert {name: point.value for name, point in ours.items()} == declared
    assert all(callable(point.load()) for point in ours.values())


def test_the_command_says_the_version_that_is_installed() -> None:
    code = "from monitor.cli import main; main(['--version'])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert run.stdout == f"coilcall {version('coilcall')}\n"
    assert version("coilcall") == PROJECT["version"]


def _declared() -> list[Requirement]:
    extras = PROJECT["optional-dependencies"].values()
    named = map(Requirement, [*PROJECT["dependencies"], *(one for extra in extras for one in extra)])
    return [one for one in named if one.name != PROJECT["name"]]


@pytest.mark.parametrize("wanted", _declared(), ids=str)
def test_the_lock_pins_each_dependency_to_a_release_that_is_allowed(wanted: Requirement) -> None:
    lines = [line.split("#")[0].strip() for line in LOCK.splitlines()]
    pins = [pin for pin in map(Requirement, filter(None, lines)) if pin.name == canonicalize_name(wanted.name)]
    assert pins
    for pin in pins:
        (exact,) = pin.specifier
        assert exact.operator == "=="
        assert exact.version in wanted.specifier


def test_the_lock_names_no_host() -> None:
    assert "://" not in LOCK
    assert "--" not in LOCK
