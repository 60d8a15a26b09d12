"""From the text of a set-up file to a Setup, or to one line that says what is wrong."""

import difflib
import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from acquire.errors import SetupError, one_line
from monitor.setup.fields import Wrong
from monitor.setup.limits import Limits
from monitor.setup.model import Channel, Engine, Setup, Vehicle

LARGEST_BYTES = 1 << 20
"""A set-up is a page of text; anything larger is another file given by mistake."""

TABLES: dict[str, type[BaseModel]] = {"engine": Engine, "channel": Channel, "limits": Limits, "vehicle": Vehicle}


def load_setup(path: Path | str) -> Setup:
    """Read a set-up file. Raises SetupError with file, key and what would be right."""
    name = str(path)
    try:
        with Path(path).open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise _error(name, f"cannot be read: {reason}; give the path of a set-up file") from error
    if len(content) > LARGEST_BYTES:
        raise _error(name, "is larger than any set-up; give the path of a set-up file")
    try:
        return parse_setup(content.decode("utf-8-sig"), name)
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise _error(name, f"line {line} is not UTF-8 text; save the file as UTF-8") from error


def parse_setup(text: str, name: str) -> Setup:
    """Read the text of a set-up file; `name` stands for it in messages. Raises SetupError like `load_setup`."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _error(name, f"is not TOML: {error}") from error
    except (ValueError, RecursionError) as error:
        raise _error(name, "is not TOML: a number or a nested list in it is too long to be meant") from error
    try:
        return Setup.model_validate(data, context={"name": name, "text": text})
    except ValidationError as error:
        raise _error(name, _explain(error, data)) from error


def explain(error: ValidationError) -> str:
    """The most useful problem of a table that stands in no file: its key and what would be right."""
    return _explain(error, {})


def _error(name: str, text: str) -> SetupError:
    line = "".join(letter if letter.isprintable() else " " for letter in f"{name}: {text}")
    return SetupError(one_line(line))


def _explain(error: ValidationError, data: dict[str, Any]) -> str:
    """Say the most useful problem: an unknown key before what is missing because of it."""
    problem = min(error.errors(), key=lambda one: one["type"] != "extra_forbidden")
    cause = problem.get("ctx", {}).get("error")
    key = problem["loc"] + (cause.key if isinstance(cause, Wrong) else ())
    return f"{_dotted(key)}{_input_of(key, data)}: {_said(problem, cause)}"


def _dotted(key: tuple[str | int, ...]) -> str:
    """Write ("channel", 1, "cylinder") as channel[2].cylinder: the second one, counted as people count."""
    text = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{_shown(part, '')}" for part in key)
    return text.lstrip(".")


def _input_of(key: tuple[str | int, ...], data: dict[str, Any]) -> str:
    """Name the channel's input too, where it has one."""
    if len(key) < 3 or key[0] != "channel" or not isinstance(key[1], int):
        return ""
    name = data["channel"][key[1]].get("input")
    return f" (input {_shown(name)})" if isinstance(name, str) else ""


def _said(problem: ErrorDetails, cause: object) -> str:
    if isinstance(cause, Wrong):
        return str(cause)
    if problem["type"] == "extra_forbidden":
        return _unknown(problem["loc"])
    if problem["type"] == "missing":
        return f"missing; {_example(problem['loc'])}"
    right = problem["msg"].removeprefix("Input ").split(" or instance of ")[0]
    right = right.replace("dictionary", "table").replace("tuple", "list")
    return f"{_shown(problem['input'])} is not right: it {right}"


def _unknown(loc: tuple[str | int, ...]) -> str:
    known = list((TABLES[str(loc[0])] if len(loc) > 1 else Setup).model_fields)
    close = difflib.get_close_matches(str(loc[-1]), known, n=1)
    return f"unknown key; did you mean {close[0]}?" if close else f"unknown key; known here: {', '.join(known)}"


def _example(loc: tuple[str | int, ...]) -> str:
    if len(loc) == 1:
        return f"a set-up needs [[{loc[0]}]]" if loc[0] == "channel" else f"a set-up needs [{loc[0]}]"
    examples = TABLES[str(loc[0])].model_fields[str(loc[-1])].examples or ["a value"]
    return f"give it, such as {loc[-1]} = {_shown(examples[0])}"


def _shown(value: object, quote: str = '"') -> str:
    """Show a found value as TOML would hold it, shortened."""
    text = f"{quote}{value}{quote}" if isinstance(value, str) else _short_repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _short_repr(value: object) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and value.bit_length() > 64:
        return "a huge number"
    return f"a list of {len(value)}" if isinstance(value, list) and len(value) > 20 else str(value)
