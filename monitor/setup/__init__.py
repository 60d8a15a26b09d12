"""The set-up file: which engine, what is connected to which input, and from where on something is wrong."""

from monitor.setup.limits import Limits
from monitor.setup.model import Channel, Engine, Role, Setup, Vehicle
from monitor.setup.parse import explain, load_setup, parse_setup
from monitor.setup.wiring import Wire, Wiring, channel_for

__all__ = [
    "Channel",
    "Engine",
    "Limits",
    "Role",
    "Setup",
    "Vehicle",
    "Wire",
    "Wiring",
    "channel_for",
    "explain",
    "load_setup",
    "parse_setup",
]
