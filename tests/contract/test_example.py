from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from acquire.source import Source
from drivers.address import parse_address
from tests.contract import example
from tests.contract.example import open_square
from tests.contract.source_contract import SourceContract


class TestExample(SourceContract):
    @contextmanager
    def make(self) -> Iterator[Source]:
        yield open_square(parse_address("square:?rate=20000"))


def test_the_smallest_driver_is_under_sixty_lines() -> None:
    assert len(Path(example.__file__).read_text(encoding="utf-8").splitlines()) < 60
