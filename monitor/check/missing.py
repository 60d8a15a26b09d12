"""What is not connected, and what that costs."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.hookup import Hookup
from monitor.setup import Role


@dataclass(frozen=True, slots=True)
class Missing:
    """A signal that no lead is on; `cylinders` are those it is missing for, empty where it belongs to none."""

    role: Role
    name: str
    cost: str
    cylinders: tuple[int, ...] = ()


_SHARED = (
    (Role.SUPPLY, "feed", "a feed that sags or drops out is not seen, nor whether a coil that did not answer charged"),
    (Role.BATTERY, "battery", "a weak battery and a feed that loses volts look the same"),
    (Role.GROUND, "coil ground", "a bad ground of the coils is not seen"),
    (
        Role.CURRENT,
        "current clamp",
        "whether a coil charged is judged by the sag of the feed alone, if that is connected",
    ),
    (Role.INJECTOR, "injector", "whether the controller also stops a cylinder's fuel is not seen"),
)


def missing(hookup: Hookup) -> tuple[Missing, ...]:
    """List what this hookup leaves unseen, the calls and answers first."""
    shared = (Missing(role, name, cost) for role, name, cost in _SHARED if not hookup.of_role(role))
    return (*_calls(hookup), *_answers(hookup), *shared)


def _calls(hookup: Hookup) -> Iterable[Missing]:
    absent = _absent(hookup, hookup.called)
    if not hookup.called:
        yield Missing(Role.CONTROL, "every control", "misses are told by place in the order, not by cylinder", absent)
    elif absent:
        cost = "a miss is placed by the firing order; a call that never came looks like an answer that got lost"
        yield Missing(Role.CONTROL, f"control {_list(absent)}", cost, absent)


def _answers(hookup: Hookup) -> Iterable[Missing]:
    absent = _absent(hookup, hookup.answering)
    if absent:
        name = f"line of {_list(absent)}" if hookup.answering else "acknowledgement line"
        cost = "whether they answered is not seen: only that they were called"
        yield Missing(Role.ACKNOWLEDGEMENT, name, cost, absent)


def _absent(hookup: Hookup, seen: frozenset[int]) -> tuple[int, ...]:
    return tuple(n for n in sorted(hookup.setup.engine.firing_order) if n not in seen)


def _list(numbers: tuple[int, ...]) -> str:
    return ", ".join(map(str, numbers))
