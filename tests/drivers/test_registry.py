import sys
from collections.abc import Iterator
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from acquire.errors import AddressError
from acquire.source import Source
from drivers import registry

GOOD = """
class opener:
    def __init__(self, address):
        self.address = address
    open = blocks = close = lambda self: None
"""


@pytest.fixture
def plugins(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Path]:
    """An environment with three plug-ins: one that opens, one that raises on import, one that is not there."""
    (tmp_path / "plug_good.py").write_text(GOOD)
    (tmp_path / "plug_bad.py").write_text("raise RuntimeError('no\\ncard')\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    points = [
        EntryPoint("good", "plug_good:opener", registry.GROUP),
        EntryPoint("bad", "plug_bad:opener", registry.GROUP),
        EntryPoint("absent", "plug_absent:opener", registry.GROUP),
    ]
    calls = tmp_path / "calls"

    def look(group: str) -> list[EntryPoint]:
        assert group == registry.GROUP
        calls.write_text((calls.read_text() if calls.exists() else "") + "x")
        return points

    monkeypatch.setattr(registry, "entry_points", look)
    registry._installed.cache_clear()
    yield tmp_path
    registry._installed.cache_clear()
    for name in ("plug_good", "plug_bad"):
        sys.modules.pop(name, None)


@pytest.mark.usefixtures("plugins")
def test_names_are_listed_without_importing_any() -> None:
    assert registry.scheme_names() == ("absent", "bad", "good")
    assert not {"plug_good", "plug_bad"} & set(sys.modules)


@pytest.mark.usefixtures("plugins")
def test_only_the_source_that_is_meant_is_imported() -> None:
    opened = registry.source_for("good:place?rate=5")
    assert opened.address.query == {"rate": ("5",)}  # type: ignore[attr-defined]
    assert "plug_bad" not in sys.modules


def test_the_environment_is_searched_once(plugins: Path) -> None:
    registry.scheme_names()
    registry.source_for("good:")
    registry.source_for("good:")
    assert (plugins / "calls").read_text() == "x"


@pytest.mark.usefixtures("plugins")
def test_an_unknown_scheme_names_what_is_installed() -> None:
    with pytest.raises(AddressError, match=r'^gold:x: .* no source "gold"; installed sources: absent, bad, good$'):
        registry.source_for("gold:x")


@pytest.mark.usefixtures("plugins")
@pytest.mark.parametrize(("scheme", "cause"), [("bad", RuntimeError), ("absent", ModuleNotFoundError)])
def test_a_source_that_does_not_load_is_one_line_with_its_cause(scheme: str, cause: type[Exception]) -> None:
    with pytest.raises(AddressError, match=f'source "{scheme}" .plug_{scheme}:opener. does not load') as caught:
        registry.source_for(f"{scheme}:")
    assert isinstance(caught.value.__cause__, cause)
    assert "\n" not in str(caught.value)


def test_a_file_is_opened_by_the_installed_project(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time,a\n0,1\n0.1,2\n")
    assert {"file", "simulated"} <= set(registry.scheme_names())
    assert isinstance(registry.source_for(str(path)), Source)
