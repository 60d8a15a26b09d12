"""A view of its own over the roll call: pulled as often, left by a key, and only its own keys told."""

from typing import ClassVar

from textual.binding import ActiveBinding, Binding, BindingType
from textual.screen import Screen

from monitor.dashboard.room import has_room

PULLS_PER_S = 10
"""What is raised is on the screen within 0.1 s; more often than that nobody can read."""


class Sheet(Screen[None]):
    """A subclass draws in `pull`, and says how it is left."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q", "leave", "back", key_display="esc")]

    @property
    def active_bindings(self) -> dict[str, ActiveBinding]:
        """The keys of this view alone are told in its last line; those of the screen beneath go on working."""
        return {key: one for key, one in super().active_bindings.items() if one.node is self}

    def on_mount(self) -> None:
        """Begin to pull."""
        self.pull()
        self.set_interval(1 / PULLS_PER_S, self.pull_if_room)

    def pull_if_room(self) -> None:
        """Draw, if the terminal takes it."""
        if has_room():
            self.pull()

    def pull(self) -> None:
        """Draw the state of now."""

    def action_leave(self) -> None:
        """Back to the roll call."""
        self.dismiss()
