"""Chance of every dimension with limits, and what to do where it is small.

In this order, as each costs the maker more: draw the length otherwise, print the part another way
up, leave stock and cut it to size, calibrate with more firings.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.calibration import CalibrationRow, Estimate
from shrinkrule.dimensions.dimension import Dimension, Kind
from shrinkrule.dimensions.limits import Limits, chance_of
from shrinkrule.dimensions.promise import ON_AXIS, Making, PromisedDimension, readings_of
from shrinkrule.physics.interval import Scatter

GOOD_CHANCE: Final = 0.9
"""Chance under which advice is given (common practice, no source)."""

BETTER: Final = 0.05
"""Gain in chance from which another way up is worth a word."""

MOST_FIRINGS: Final = 30
"""Firings up to which more of them are advised."""

REAMED_MM: Final = 0.3
"""Stock up to which a bore is reamed; more of it is drilled first (common practice, no source)."""

LARGEST_REAMED_MM: Final = 20.0
"""Bore over which no reamer is to hand (common practice, no source)."""

NO_HEIGHT: Final = "no drawn height does better: print thinner layers"
"""What is said of a height whose layers take the gain of drawing it otherwise."""

CUT: Final = {
    Kind.BOSS: "turn or file",
    Kind.INSIDE: "mill or file",
    Kind.WALL: "file or grind",
    Kind.OUTSIDE: "file or grind",
    Kind.OVERALL: "file or grind",
}
"""How a length is brought to size after firing (common practice, no source)."""


@dataclass(frozen=True)
class Toleranced:
    """A dimension with limits.

    Parameters
    ----------
    number : int
        Its place in the list, from 1.
    promised : PromisedDimension
        The dimension and how it will come out.
    limits : Limits
        What it may measure.
    chance : float or None
        That the next part keeps the limits; of its worst reading. None where no coupon shows it.
    advice : str
        What to do where the chance is small; may be empty.
    """

    number: int
    promised: PromisedDimension
    limits: Limits
    chance: float | None
    advice: str


def judged(
    promised: Sequence[PromisedDimension],
    limits: Mapping[int, Limits],
    making: Making,
    ways: Mapping[str, Making] | None = None,
) -> tuple[Toleranced, ...]:
    """Chance and advice for every dimension with limits.

    Parameters
    ----------
    promised : sequence of PromisedDimension
        All dimensions.
    limits : mapping of int to Limits
        Limits by place in the list, from 0.
    making : Making
        How the part is made.
    ways : mapping of str to Making, optional
        Other ways up that it could be printed, by name.

    Returns
    -------
    tuple of Toleranced
        In the order of the list.
    """
    every = []
    for k in sorted(limits):
        one = promised[k]
        chance = chance_of(one.dimension, limits[k], making)
        advice = _advice(one, limits[k], making, chance, ways or {})
        every.append(Toleranced(k + 1, one, limits[k], chance, advice))
    return tuple(every)


def part_chance(judged: Sequence[Toleranced]) -> tuple[float, float] | None:
    """Bounds of the chance that one part keeps all of its limits.

    Errors of one firing are shared, so chances do not multiply. Whatever they share, the chance
    lies between Bonferroni's bound and the smallest chance of all.

    Parameters
    ----------
    judged : sequence of Toleranced
        All dimensions with limits.

    Returns
    -------
    (float, float) or None
        Least and most; None where a chance is not known or there is none.
    """
    chances = [one.chance for one in judged if one.chance is not None]
    if not chances or len(chances) < len(judged):
        return None
    return max(0.0, 1.0 - sum(1.0 - chance for chance in chances)), min(chances)


def drawn_for(one: Dimension, fired_mm: float, making: Making) -> tuple[float, float]:
    """Size to draw so that the fired one is expected at a length.

    Parameters
    ----------
    one : Dimension
        As it is drawn now.
    fired_mm : float
        What is wanted, mm; of a round the mean of its readings.
    making : Making
        How the part is made.

    Returns
    -------
    drawn, green : float
        Size in the model, and as it will measure on the printed part, mm.
    """
    size = one.size_mm
    for _ in range(3):
        readings = readings_of(replace(one, size_mm=size), making)
        size += fired_mm - sum(r.fired_mm.value for r in readings) / len(readings)
    readings = readings_of(replace(one, size_mm=size), making)
    return size, sum(r.green_mm for r in readings) / len(readings)


def with_firings(row: CalibrationRow, firings: int) -> CalibrationRow:
    """Row as it would be after more firings that scatter as those so far.

    Parameters
    ----------
    row : CalibrationRow
        The row now; it must have some firings.
    firings : int
        Firings in all.

    Returns
    -------
    CalibrationRow
        Uncertainties of means fall with the root of the number; what parts and firings scatter
        stays, and is known with a degree of freedom more for each.
    """
    share = math.sqrt(row.firings / firings)
    more = firings - row.firings

    def surer(known: Estimate | None) -> Estimate | None:
        return None if known is None else replace(known, u=known.u * share, dof=known.dof + more)

    def parts(known: Scatter | None) -> Scatter | None:
        if known is None:
            return None
        return replace(known, mean_u=known.mean_u * share, dof=known.dof + more)

    return replace(
        row,
        shrinkage_xy=replace(row.shrinkage_xy, u=row.shrinkage_xy.u * share),
        shrinkage_z=replace(row.shrinkage_z, u=row.shrinkage_z.u * share),
        parts_x=parts(row.parts_x),
        parts_y=parts(row.parts_y),
        parts_z=parts(row.parts_z),
        degrees_of_freedom=row.degrees_of_freedom + more,
        residual_dof=row.residual_dof * firings / row.firings,
        first_layer_mm=surer(row.first_layer_mm),
        bore_offset_mm=surer(row.bore_offset_mm),
        firings=firings,
    )


def firings_needed(one: Dimension, limits: Limits, making: Making) -> int | None:
    """Least number of firings behind the row that would make the chance good.

    Parameters
    ----------
    one : Dimension
        Of the wanted part; it may be drawn otherwise.
    limits : Limits
        What it may measure.
    making : Making
        How the part is made.

    Returns
    -------
    int or None
        Firings in all; None where no number of them would do.
    """
    row = making.row
    if row.firings < 2:
        return None

    def good(firings: int) -> bool:
        sure = replace(making, row=with_firings(row, firings))
        return (_chance_redrawn(one, limits, sure) or 0.0) >= GOOD_CHANCE

    low, high = row.firings, max(MOST_FIRINGS, row.firings + 1)
    if not good(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if good(middle) else (middle, high)
    return high


def _move(one: Dimension, limits: Limits, making: Making) -> float:
    """How much larger a length should come out than it is expected, to be amid its limits, mm."""
    worst = PromisedDimension(one, readings_of(one, making), "", "").worst.fired_mm
    half = worst.half95 or 0.0
    if limits.thread is not None:
        return limits.thread.hole_mm - worst.value
    if math.isfinite(limits.lower_mm) and math.isfinite(limits.upper_mm):
        return 0.5 * (limits.lower_mm + limits.upper_mm) - worst.value
    if math.isfinite(limits.lower_mm):
        return limits.lower_mm + half - worst.value
    return limits.upper_mm - half - worst.value


def _in_layers(one: Dimension, making: Making) -> bool:
    """Whether a length is a height that begins and ends at whole layers."""
    upright = not one.is_round and abs(float(making.turn[2] @ np.array(one.direction))) > ON_AXIS
    return upright and making.made.heights is not None


def _chance_redrawn(one: Dimension, limits: Limits, making: Making) -> float | None:
    """Chance of a length that is drawn to come out amid its limits; a height in its layers."""
    move = _move(one, limits, making)
    if not _in_layers(one, making) or one.size_mm + move <= 0.0:
        return chance_of(one, limits, making, move)
    level = one.level_mm
    if level is not None and float(making.turn[2] @ np.array(one.direction)) < 0.0:
        level -= move  # The lower end stays where it is: it may lie on the plate.
    return chance_of(replace(one, size_mm=one.size_mm + move, level_mm=level), limits, making)


def _advice(
    one: PromisedDimension,
    limits: Limits,
    making: Making,
    chance: float | None,
    ways: Mapping[str, Making],
) -> str:
    """What to do where the chance is small; of a bore to be tapped, always what to draw."""
    move = _move(one.dimension, limits, making)
    better = _chance_redrawn(one.dimension, limits, making)
    if limits.thread is not None:
        tapping = _tapping(one.dimension, limits, making, better)
        if better is None or better >= GOOD_CHANCE:
            return tapping
        return f"{tapping}; or drill it to that before tapping"
    if chance is None or better is None or chance >= GOOD_CHANCE:
        return ""
    redrawn = f"draw it {one.dimension.size_mm + move:.2f} mm: {_percent(better)}"
    if better >= GOOD_CHANCE:
        return redrawn
    said = [redrawn] if better > chance + BETTER else []
    if not said and _in_layers(one.dimension, making):
        smooth = chance_of(one.dimension, limits, making, move) or 0.0
        said = [NO_HEIGHT] if smooth > chance else []
    better = max(better, chance)
    turned = _another_way_up(one.dimension, limits, better, ways)
    said += [turned] if turned else []
    said += [_stock(one, limits)] if _cut(one, 0.0) else []
    firings = firings_needed(one.dimension, limits, making)
    if firings is not None:
        said.append(f"or {firings} firings behind the row, now {making.row.firings}")
    elif not _cut(one, 0.0):
        said.append("parts scatter too much for these limits, after any number of firings")
    return "; ".join(said)


def _tapping(one: Dimension, limits: Limits, making: Making, chance: float | None) -> str:
    """The tapping hole of a thread, in the model and as it prints."""
    assert limits.thread is not None
    thread = limits.thread
    drawn, green = drawn_for(one, thread.hole_mm, making)
    sure = "not promised, as it lies" if chance is None else _percent(chance)
    return (
        f"tapping hole {thread.hole_mm:.2f} for {thread.name}: draw it {drawn:.2f} mm, "
        f"{green:.2f} as printed: {sure}"
    )


def _another_way_up(one: Dimension, limits: Limits, best: float, ways: Mapping[str, Making]) -> str:
    """The way up with the best chance, where it is better than the best of this one."""
    found = ""
    for name, making in ways.items():
        chance = _chance_redrawn(one, limits, making)
        if chance is not None and chance > best + BETTER:
            found, best = f"print it with {name} up: {_percent(chance)}", chance
    return found


def _cut(one: PromisedDimension, stock_mm: float) -> str:
    """How a length is cut to size; empty where it is not."""
    if one.dimension.kind is Kind.BORE:
        if one.dimension.size_mm > LARGEST_REAMED_MM:
            return "bore out"
        return "ream" if stock_mm <= REAMED_MM else "drill and ream"
    return CUT.get(one.dimension.kind, "")


def _stock(one: PromisedDimension, limits: Limits) -> str:
    """Size with which 97.5 of 100 parts can be cut into their limits, how, and how much at most."""
    worst, size = one.worst.fired_mm, one.dimension.size_mm
    half = worst.half95 or 0.0
    if one.dimension.kind in {Kind.BORE, Kind.INSIDE}:
        stock = worst.value + half - limits.lower_mm
        drawn = size - stock
    else:
        stock = limits.upper_mm - worst.value + half
        drawn = size + stock
    if not math.isfinite(stock) or drawn <= 0.0:
        return "wider limits are needed"
    most = 2.0 * half
    return f"leave stock and {_cut(one, most)}: draw it {drawn:.2f} mm, up to {most:.2f} to cut"


def _percent(chance: float) -> str:
    return f"{100 * chance:.0f} %"
