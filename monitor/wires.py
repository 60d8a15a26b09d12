"""Which wire tells something about which cylinder."""

from functools import partial

from monitor.firing.evidence import Wire, Wires
from monitor.hookup import Hookup, Lead
from monitor.setup import Role
from monitor.signal.front import Front


def wires_of(hookup: Hookup, front: Front) -> Wires:
    """Give the wires that every turn is looked up on; a wire that names no cylinder stands for all of them."""
    everyone = hookup.setup.engine.firing_order

    def of_role(role: Role) -> dict[int, Wire]:
        found: dict[int, Wire] = {}
        for lead in hookup.of_role(role):
            whose = everyone if lead.channel.cylinder is None else (lead.channel.cylinder,)
            found.update(dict.fromkeys(whose, _wire(lead, front)))
        return found

    lines = {
        cylinder: _wire(lead, front)
        for lead in hookup.of_role(Role.ACKNOWLEDGEMENT)
        for cylinder in hookup.setup.answering(lead.channel)
    }
    supply = hookup.first(Role.SUPPLY)
    return Wires(
        supply=_wire(supply, front) if supply else None,
        battery=_wire(battery, front) if (battery := hookup.first(Role.BATTERY)) else None,
        lines=lines,
        controls=of_role(Role.CONTROL),
        grounds=of_role(Role.GROUND),
        currents=of_role(Role.CURRENT),
    )


def _wire(lead: Lead, front: Front) -> Wire:
    return Wire(partial(front.samples, lead.row), lead.scale)
