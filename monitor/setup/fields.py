"""The kinds of value a set-up may hold, and the one way in which they are refused."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Whole = Annotated[int, Field(strict=True)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Volts = Annotated[Number, Field(ge=0.0, le=1000.0)]
Milliseconds = Annotated[Number, Field(gt=0.0, le=10_000.0)]
Cylinder = Annotated[Whole, Field(ge=1, le=16)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


class Table(BaseModel):
    """A table of the set-up file: nothing unknown in it, and never changed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, use_attribute_docstrings=True)


class Wrong(ValueError):
    """A value that fits its type and still cannot be meant; `key` leads to it from the table that found out."""

    def __init__(self, text: str, *key: str | int) -> None:
        super().__init__(text)
        self.key = key
