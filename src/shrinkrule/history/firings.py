"""The firings of a row in their order, out of its history, and what their chart says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from shrinkrule.history.chart import (
    FEWEST_FIRINGS,
    Components,
    Limits,
    known_limits,
    moving_average,
    moving_average_limits,
)
from shrinkrule.history.store import Entry
from shrinkrule.numerics.arrays import Floats, Mask


@dataclass(frozen=True)
class FiringChart:
    """Shrinkage of the firings of a row along one direction.

    Parameters
    ----------
    direction : str
        ``xy`` or ``z``.
    firings : tuple of str
        Their names, in order.
    values, averages : (n,) float64
        Mean shrinkage of each firing's parts, and its moving average; fractions.
    alone, moving : Limits
        Of single firings, and of the average.
    """

    direction: str
    firings: tuple[str, ...]
    values: Floats
    averages: Floats
    alone: Limits
    moving: Limits

    @property
    def is_enough(self) -> bool:
        """Whether there are firings enough to say anything."""
        return len(self.firings) >= FEWEST_FIRINGS

    @property
    def drifts_since(self) -> str:
        """First firing from which on the average stays beyond its limits; empty if it holds."""
        beyond = self._beyond
        if not self.is_enough or not beyond[-1]:
            return ""
        inside = np.flatnonzero(~beyond)
        return self.firings[int(inside[-1]) + 1 if len(inside) else 0]

    @property
    def _beyond(self) -> Mask:
        return (self.averages < self.moving.lower) | (self.averages > self.moving.upper)

    @property
    def said(self) -> str:
        """What the chart says, in words."""
        name = self.direction.upper()
        count = len(self.firings)
        if not self.is_enough:
            few = f"{count} firing{'s' * (count != 1)}"
            return f"{name}: {few}, too few for a chart; {FEWEST_FIRINGS} are needed"
        if since := self.drifts_since:
            off = 100.0 * (float(self.averages[-1]) - self.moving.centre)
            return (
                f"{name} shrinks by {off:+.2f} points since firing {since}: the furnace, its "
                "thermocouple or the filament has drifted; a new coupon is due"
            )
        odd = [
            firing
            for firing, value in zip(self.firings, self.values, strict=True)
            if not self.alone.lower <= value <= self.alone.upper
        ]
        alone = f"; firing {', '.join(odd)} alone was off" if odd else ""
        beyond = np.flatnonzero(self._beyond)
        if len(beyond):
            first, last = (self.firings[number] for number in beyond[[0, -1]])
            return f"{name}: {count} firings, no drift now; there was from {first} to {last}{alone}"
        return f"{name}: {count} firings, no drift{alone}"


def firing_chart(
    entries: Sequence[Entry], row: str, direction: str, known: Components
) -> FiringChart:
    """Chart the firings of a row.

    Parameters
    ----------
    entries : sequence of dict
        The history.
    row : str
        Name of the row.
    direction : str
        ``xy`` or ``z``.
    known : Components
        Shrinkage by the row, and how firings differ from it.

    Returns
    -------
    FiringChart
        Of all firings of which a part was reviewed; the last review of a part counts.
    """
    parts: dict[tuple[Any, ...], tuple[str, str, float]] = {}
    for entry in entries:
        if entry["entry"] != "reviewed" or entry.get("row") != row:
            continue
        value = _value(entry, direction)
        if value is not None and entry.get("firing"):
            key = (entry["firing"], str(entry.get("green")), entry.get("letter"))
            parts[key] = (str(entry["firing"]), str(entry.get("date", "")), value)
    firings: dict[str, list[tuple[str, float]]] = {}
    for firing, date, value in parts.values():
        firings.setdefault(firing, []).append((date, value))
    order = list(firings)
    if all(date for dated in firings.values() for date, _ in dated):
        order.sort(key=lambda firing: min(date for date, _ in firings[firing]))
    values = np.array([np.mean([value for _, value in firings[firing]]) for firing in order])
    return FiringChart(
        direction=direction,
        firings=tuple(order),
        values=values,
        averages=moving_average(values, known.centre),
        alone=known_limits(known),
        moving=moving_average_limits(known),
    )


def _value(entry: Entry, direction: str) -> float | None:
    """Shrinkage of a part that an entry tells; None where it tells none."""
    told = entry.get("shrinkage")
    value = told.get(direction) if isinstance(told, dict) else None
    # Fractions: an integer of any length, which JSON may hold, is none.
    return float(value) if isinstance(value, int | float) and abs(value) < 1.0 else None
