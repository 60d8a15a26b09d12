"""Which channel of the stream each channel of the set-up is."""

from typing import NamedTuple

from acquire.block import StreamInfo
from acquire.errors import SetupError, one_line
from monitor.setup.model import Channel, Setup


class Wire(NamedTuple):
    """One connected wire: its entry in the set-up, and its row in every block's counts."""

    channel: Channel
    row: int


Wiring = tuple[Wire, ...]


def channel_for(setup: Setup, info: StreamInfo) -> Wiring:
    """Match each channel of the set-up to one of the source's, by label or else by input, whatever the capitals.

    The label comes first because it is what people see: a file whose only columns are headed in2 and in3 means those.
    Raises SetupError, naming what the source has, where an input is not there, fits two, or is meant twice.
    """
    taken: dict[int, str] = {}
    wiring = []
    for number, channel in enumerate(setup.channel, start=1):
        row = _find(setup, number, channel, info)
        if row in taken:
            text = f'"{channel.input}" is the same input as "{taken[row]}"; name each once'
            raise _error(setup, number, text)
        taken[row] = channel.input
        wiring.append(Wire(channel, row))
    return tuple(wiring)


def _find(setup: Setup, number: int, channel: Channel, info: StreamInfo) -> int:
    wanted = channel.input.casefold()
    labelled = [i for i, one in enumerate(info.channels) if one.label.strip().casefold() == wanted]
    named = [i for i, one in enumerate(info.channels) if one.input.casefold() == wanted]
    found = labelled if len(labelled) == 1 else named or labelled
    if not found:
        raise _error(setup, number, f'"{channel.input}" is not in {info.source}; it has {_inputs(info)}')
    if len(found) > 1:
        raise _error(setup, number, f'"{channel.input}" stands for several of {_inputs(info)}; use in1, in2, …')
    return found[0]


def _inputs(info: StreamInfo) -> str:
    return ", ".join(one.input + (f' "{one.label}"' if one.label else "") for one in info.channels) or "no inputs"


def _error(setup: Setup, number: int, text: str) -> SetupError:
    return SetupError(one_line(f"{setup.name}: channel[{number}].input: {text}"))
