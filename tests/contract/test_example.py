import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from acquire.source import Source
from drivers.registry import source_for
from tests.contract import example
from tests.contract.source_contract import SourceContract

HOUSE = Path(__file__).parents[2]
WHEEL = {
    "square-1.dist-info/METADATA": "Metadata-Version: 2.1\nName: square\nVersion: 1\n",
    "square-1.dist-info/WHEEL": "Wheel-Version: 1.0\nGenerator: by hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    "square-1.dist-info/entry_points.txt": "[coilcall.sources]\nsquare = example:open_square\n",
    "square-1.dist-info/RECORD": "",
}


class TestExample(SourceContract):
    @contextmanager
    def make(self) -> Iterator[Source]:
        yield source_for("tests.contract.example:open_square?rate=20000")


def test_the_smallest_driver_is_under_sixty_lines() -> None:
    assert len(Path(example.__file__).read_text(encoding="utf-8").splitlines()) < 60


def test_once_its_package_is_installed_it_is_listed_and_opened_by_its_name(tmp_path: Path) -> None:
    wheel, site = tmp_path / "square-1-py3-none-any.whl", tmp_path / "site"
    with zipfile.ZipFile(wheel, "w") as packed:
        packed.write(example.__file__, "example.py")
        for name, text in WHEEL.items():
            packed.writestr(name, text)
    _run("-m", "pip", "install", "-q", "--no-index", "--no-deps", "--target", site, wheel)
    code = "from monitor.cli import main; main(['sources', '--json'])"
    listed = json.loads(_run("-W", "ignore", "-c", code, site=site))["drivers"]
    assert {"address": "square:", "text": "square, from square", "missing": None} in listed
    code = "from drivers.registry import source_for; print(source_for('square:?rate=500').open().sample_rate_hz)"
    assert _run("-c", code, site=site) == "500.0\n"


def _run(*arguments: str | Path, site: Path | None = None) -> str:
    paths = os.pathsep.join(map(str, filter(None, (site, HOUSE))))
    environment = os.environ | {"PYTHONPATH": paths, "PIP_ROOT_USER_ACTION": "ignore"}
    run = subprocess.run(
        [sys.executable, *arguments], env=environment, capture_output=True, text=True, check=False, timeout=50
    )
    assert run.returncode == 0, run.stderr
    return run.stdout
