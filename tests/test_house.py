import ast
import statistics
import subprocess
import sys
from collections.abc import Iterator
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

HOUSE = Path(__file__).parents[1]
FLOORS = ("acquire", "drivers", "monitor")
MODULES = sorted(path for floor in FLOORS for path in (HOUSE / floor).rglob("*.py"))


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def _function_lines() -> Iterator[int]:
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno:
                yield node.end_lineno - node.lineno + 1


def test_modules_are_about_a_hundred_lines_and_none_above_five_hundred() -> None:
    lines = {path.relative_to(HOUSE): _lines(path) for path in MODULES}
    assert {path for path, count in lines.items() if count > 500} == set()
    assert statistics.median(lines.values()) <= 120


def test_half_of_all_functions_are_under_ten_lines_and_nineteen_of_twenty_under_forty() -> None:
    lines = sorted(_function_lines())
    assert statistics.median(lines) < 10
    assert statistics.quantiles(lines, n=20)[-1] < 40


def test_imports_run_down_only() -> None:
    """What import-linter holds in CI, held by a plain reading of every import statement as well."""
    for path in MODULES:
        above = FLOORS[FLOORS.index(path.relative_to(HOUSE).parts[0]) + 1 :]
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not {name.split(".")[0] for name in names} & set(above), f"{path}:{getattr(node, 'lineno', 0)}"


def test_the_help_of_the_command_line_needs_none_of_the_heavy_libraries() -> None:
    code = (
        "import sys\nfrom monitor.cli import cli\ncli(['--help'], standalone_mode=False)\n"
        "heavy = {'aiohttp', 'aiomqtt', 'asyncio', 'numpy', 'pyarrow', 'pydantic', 'rich', 'scipy',"
        " 'soundfile', 'textual'}\n"
        "print(*sorted(heavy & set(sys.modules)), file=sys.stderr, end='')"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert "analyze" in run.stdout
    assert run.stderr == ""


async def test_the_script_of_the_screens_draws_the_running_engine() -> None:
    spec = spec_from_file_location("make_screens", HOUSE / "fixtures" / "make_screens.py")
    assert spec is not None
    assert spec.loader is not None
    script = module_from_spec(spec)
    spec.loader.exec_module(script)
    drawn = str(await script.screen(script.View(moment_s=3.0), (80, 24))).replace("&#160;", " ")
    assert drawn.startswith("<svg")
    assert "SIMULATED" in drawn
    assert "CYLINDER 4 unacknowledged" in drawn
    assert "http" not in drawn.replace("http://www.w3.org/2000/svg", "").replace("https://www.textualize.io", "")
