"""Somebody pointed at a moment."""

from textual.message import Message


class Pointed(Message):
    """To be looked at in the trace, where there is one."""

    def __init__(self, time_s: float) -> None:
        super().__init__()
        self.time_s = time_s
