"""One list of checks with one vocabulary of states, and the verdict that they make together.

A verdict is never better than what was looked at: a check that was not made says why, and where
it matters the headline says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Level(StrEnum):
    """What the verdict says, rising."""

    MAKE = "make it"
    LOOK = "look first"
    STOP = "do not make it"


class State(StrEnum):
    """What one check says."""

    FINE = "fine"
    LOOK = "look"
    STOP = "stop"
    NOT_LOOKED_AT = "not looked at"


LEVELS: Final = {
    State.FINE: Level.MAKE,
    State.NOT_LOOKED_AT: Level.MAKE,
    State.LOOK: Level.LOOK,
    State.STOP: Level.STOP,
}
"""What each state makes of a part."""

_WEIGHTS: Final = (State.FINE, State.NOT_LOOKED_AT, State.LOOK, State.STOP)
_OPENINGS: Final = {
    Level.MAKE: "Make it.",
    Level.LOOK: "Make it, but look at these first.",
    Level.STOP: "Do not make it as it is.",
}


def heaviest(states: Iterable[State]) -> State:
    """State that decides among several; fine where there is none.

    Examples
    --------
    >>> heaviest([State.LOOK, State.FINE]).value
    'look'
    """
    return max(states, key=_WEIGHTS.index, default=State.FINE)


@dataclass(frozen=True)
class Reason:
    """One thing that speaks against making the part as it is.

    Parameters
    ----------
    state : State
        How much it weighs: look or stop.
    text : str
        What was found, and where.
    at_mm : tuple of 3 float, or None
        Where, in the model's axes, mm, if it is at one place.
    """

    state: State
    text: str
    at_mm: tuple[float, float, float] | None = None

    @property
    def level(self) -> Level:
        """The verdict that this alone would make."""
        return LEVELS[self.state]


@dataclass(frozen=True)
class Check:
    """One question about the part, and what was found.

    Parameters
    ----------
    name : str
        What was looked at.
    reasons : tuple of Reason
        What was found that weighs; empty where all is fine.
    skipped : str
        Why it was not looked at, or not all of it; empty where it was.
    unknown : str
        What is not known, for the headline; empty where that does not matter to it.
    """

    name: str
    reasons: tuple[Reason, ...] = ()
    skipped: str = ""
    unknown: str = ""

    @property
    def state(self) -> State:
        """The heaviest of what was found; not looked at, where nothing was and that is why."""
        states = [reason.state for reason in self.reasons]
        states.append(State.NOT_LOOKED_AT if self.skipped else State.FINE)
        return heaviest(states)


@dataclass(frozen=True)
class Verdict:
    """Make it or do not make it, and why.

    Parameters
    ----------
    checks : tuple of Check
        Every question that was, or could have been, asked.
    """

    checks: tuple[Check, ...]

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Everything that weighs, the heaviest first, else in the order of the checks."""
        found = [reason for check in self.checks for reason in check.reasons]
        return tuple(sorted(found, key=lambda reason: -_WEIGHTS.index(reason.state)))

    @property
    def level(self) -> Level:
        """What the heaviest reason makes of it."""
        levels = list(Level)
        return max((reason.level for reason in self.reasons), key=levels.index, default=Level.MAKE)

    @property
    def unknown(self) -> tuple[str, ...]:
        """What matters and is not known, in words."""
        return tuple(
            check.unknown
            for check in self.checks
            if check.unknown and check.state is not State.FINE
        )

    @property
    def headline(self) -> str:
        """The first line: never better than what was looked at.

        Examples
        --------
        >>> Verdict((Check("walls"), Check("sag", (), "left out", "sag is not known"))).headline
        'Make it, as far as looked at: sag is not known.'
        """
        unknown = ", ".join(self.unknown)
        if not unknown or self.level is Level.STOP:
            return _OPENINGS[self.level]
        if self.level is Level.MAKE:
            return f"Make it, as far as looked at: {unknown}."
        return f"{_OPENINGS[self.level]} {unknown[:1].upper()}{unknown[1:]}."
