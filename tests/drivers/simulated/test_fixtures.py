"""The recordings in fixtures/ are what their script makes."""

import importlib.util
import json
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from acquire.block import Counts
from acquire.recording import read_blocks, read_info

FIXTURES = Path(__file__).parents[3] / "fixtures"
NAMES = ("healthy-idle", "cylinder-4-now-and-then", "feed-dropout")


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_fixtures", FIXTURES / "make_fixtures.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folders = (tmp_path_factory.mktemp("first"), tmp_path_factory.mktemp("second"))
    for folder in folders:
        _script().main(folder)
    return folders


def test_the_script_makes_the_same_bytes_every_time(made: tuple[Path, Path]) -> None:
    files = sorted(p.relative_to(made[0]) for p in made[0].rglob("*") if p.is_file())
    assert files
    for file in files:
        assert (made[0] / file).read_bytes() == (made[1] / file).read_bytes(), file


@pytest.mark.parametrize("name", NAMES)
def test_the_recordings_kept_are_the_ones_the_script_makes(made: tuple[Path, Path], name: str) -> None:
    kept, fresh = _counts(FIXTURES / name), _counts(made[0] / name)
    # another machine's exponential may differ in its last bit, and so tip a count
    np.testing.assert_allclose(fresh, kept, atol=1)
    for end in (".setup.toml", ".truth.json"):
        assert _text(FIXTURES / (name + end)) == _text(made[0] / (name + end))


def _counts(folder: Path) -> Counts:
    return np.concatenate([block.counts for block in read_blocks(folder, read_info(folder))], axis=1)


def _text(path: Path) -> object:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".toml":
        return text
    return [(f["cylinder"], round(f["spark_s"], 6), f["expected"]) for f in json.loads(text)["firings"]]


@pytest.mark.parametrize("name", NAMES)
def test_no_recording_is_larger_than_a_megabyte(name: str) -> None:
    sizes = {path.name: path.stat().st_size for path in FIXTURES.rglob(f"{name}*/*")}
    sizes |= {path.name: path.stat().st_size for path in FIXTURES.glob(f"{name}*.*")}
    assert len(sizes) >= 4
    assert max(sizes.values()) < 1_000_000


def test_each_tells_its_own_story() -> None:
    stories = {n: json.loads((FIXTURES / f"{n}.truth.json").read_text(encoding="utf-8")) for n in NAMES}
    missed = {n: [f["cylinder"] for f in s["firings"] if f["expected"] == "unacknowledged"] for n, s in stories.items()}
    assert missed["healthy-idle"] == []
    assert set(missed["cylinder-4-now-and-then"]) == {4}
    assert 3 <= len(missed["cylinder-4-now-and-then"]) <= 15
    assert len([e for e in stories["feed-dropout"]["events"] if e["kind"] == "feed-dropout"]) >= 3
    assert len(missed["feed-dropout"]) >= 2
