"""A source from a package that is not ours, installed for real, opened by its address in a process of its own."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]
EXAMPLE = HOUSE / "tests" / "plugin_example"

SUMMARY = """
import json, sys
from acquire.errors import CoilcallError
from drivers.registry import scheme_names, source_for
loaded = "tone_source" in sys.modules
try:
    source = source_for(sys.argv[1])
    info = source.open()
    blocks = list(source.blocks())
    source.close()
    told = [info.sample_rate_hz, info.total_samples, blocks[-1].end_index, int(blocks[0].counts.max())]
except CoilcallError as error:
    told = str(error)
print(json.dumps({"names": scheme_names(), "loaded_by_listing": loaded, "told": told}))
"""


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder on the path into which pip has installed the example."""
    folder = tmp_path_factory.mktemp("installed")
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-build-isolation", "--no-index"]
    run = subprocess.run([*pip, "--target", str(folder), str(EXAMPLE)], capture_output=True, text=True, timeout=50)
    assert run.returncode == 0, run.stderr
    return folder


def opened(environment: Path, address: str) -> dict[str, object]:
    path = os.pathsep.join([str(environment), str(HOUSE)])
    run = subprocess.run(
        [sys.executable, "-c", SUMMARY, address],
        capture_output=True,
        text=True,
        timeout=30,
        env={**os.environ, "PYTHONPATH": path},
        cwd=environment,
    )
    assert run.returncode == 0, run.stderr
    result: dict[str, object] = json.loads(run.stdout)
    return result


@pytest.mark.parametrize("address", ["tone:?hz=50&rate=2000", "tone_source.source:Tone?hz=50&rate=2000"])
def test_an_installed_source_is_opened_by_its_scheme_or_by_its_class(environment: Path, address: str) -> None:
    result = opened(environment, address)
    assert result["told"] == [2000.0, 2000, 2000, 10_000]
    assert "tone" in str(result["names"])
    assert result["loaded_by_listing"] is False


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("tone:?hz=0", "tone:?hz=0: hz: 0 is too small; 1 is the least"),
        ("tone_source.source:Bell", "does not load: module 'tone_source.source' has no attribute 'Bell'"),
        ("tone_source.sauce:Tone", "does not load: No module named 'tone_source.sauce'"),
        ("tone_source.source:Address", "makes no source: Address.__init__() missing 2 required positional arguments"),
        ("tone_source.source:np.array", "makes a ndarray, not a source with open, blocks and close"),
        ("tone_source.source:Tone of Voice", "no such file, and no package.module:maker"),
        ("tone_source.source:", "no such file, and no package.module:maker"),
    ],
)
def test_what_cannot_be_a_source_is_said_in_one_line(environment: Path, address: str, words: str) -> None:
    told = str(opened(environment, address)["told"])
    assert words in told
    assert len(told.splitlines()) == 1
