"""What a furnace takes of a coupon: its sets of bars, its loads, and the size that would do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import product
from math import ceil
from typing import Final

from shrinkrule.coupon.bars import bar_width_mm, build_bars, longest_bridge_mm
from shrinkrule.coupon.block import block_plan
from shrinkrule.coupon.block_sizes import LOWEST_MM, shortest_block_mm, size_block
from shrinkrule.coupon.ladder import build_ladder
from shrinkrule.coupon.layout import Rectangles, corners, floor_places
from shrinkrule.coupon.piece import Piece
from shrinkrule.coupon.spans import (
    BRIDGE_IDS,
    DEPTH_BEADS,
    USUAL_DENSITY_G_CM3,
    USUAL_SAG_MODULUS_KPA,
    SagSpans,
    choose_spans,
)
from shrinkrule.errors import SettingError
from shrinkrule.furnace import BoxFurnace, CrucibleFurnace, Furnace
from shrinkrule.printer import Printer

FEW_BRIDGE: Final = BRIDGE_IDS[1]
"""The one span of a coupon of few readings: the middle one, whose drop is read on either side."""
FINER_NOZZLES_MM: Final = (0.6, 0.5, 0.4, 0.35, 0.3, 0.25, 0.2)
"""Nozzles on sale, coarsest first (common practice, no source)."""
MOST_GROWTH_MM: Final = 128.0
"""Growth of a furnace's sides up to which one that would do is looked for."""


class Readings(StrEnum):
    """How much is to be read off a coupon."""

    ALL = "all"
    FEW = "few"


@dataclass(frozen=True)
class CouponPlan:
    """What a coupon is made for.

    Parameters
    ----------
    printer : Printer
        Nozzle, bead and layer.
    furnace : BoxFurnace or CrucibleFurnace
        Inside sizes of what the pieces are fired in.
    sag_modulus_kpa : float or None
        Sag modulus expected, kPa; None where nothing is known.
    density_g_cm3 : float
        Mean density expected while it sags, g/cm3.
    material, process : str
        Names for the sheet, as they will stand in the table; may be empty.
    readings : Readings
        All that separates every cause, or few that give the plainest numbers.

    Raises
    ------
    SettingError
        For a modulus or density that no sintering part has.
    """

    printer: Printer
    furnace: Furnace
    sag_modulus_kpa: float | None = None
    density_g_cm3: float = USUAL_DENSITY_G_CM3
    material: str = ""
    process: str = ""
    readings: Readings = Readings.ALL

    def __post_init__(self) -> None:
        if self.sag_modulus_kpa is not None and not 1.0 <= self.sag_modulus_kpa <= 1.0e6:
            raise SettingError(
                f"{self.sag_modulus_kpa:g} kPa is no sag modulus",
                where="sag modulus",
                hint="give the modulus of the whole firing in kPa, between 1 and 1000000",
            )
        if not 0.5 <= self.density_g_cm3 <= 25.0:
            raise SettingError(
                f"{self.density_g_cm3:g} g/cm3 is no density of a metal part",
                where="density",
                hint="give it in g/cm3, as 7.5",
            )


def fitting_bars(
    plan: CouponPlan, ladder: Piece
) -> tuple[list[tuple[SagSpans, list[Piece]]], list[str]]:
    """Sets of bars that stand in the furnace, and the pieces that do not.

    Parameters
    ----------
    plan : CouponPlan
        Printer and furnace.
    ladder : Piece
        The ladder that is fired with them.

    Returns
    -------
    tuple of (list of (SagSpans, list of Piece), list of str)
        The sets, longest bar first in each, and names of pieces that the furnace does not take.
    """
    tried = [_sag_bars(plan, beads) for beads in DEPTH_BEADS]
    fitting = [(spans, bars) for spans, bars in tried if not _misfits(plan, [*bars, ladder])]
    misfits = [] if fitting else _misfits(plan, [*tried[-1][1], ladder])
    shortest, height = shortest_block_mm(plan.printer), plan.furnace.usable_height_mm
    least = size_block(shortest, max(height, LOWEST_MM), plan.printer)
    if height < LOWEST_MM or not takes(plan.furnace, block_plan(least)):
        misfits.append("block")
    return fitting, misfits


def _sag_bars(plan: CouponPlan, depth_beads: float) -> tuple[SagSpans, list[Piece]]:
    """Spans and bars, longest bar first, for thin beams of so many beads."""
    depth = round(depth_beads * plan.printer.bead_width_mm, 2)
    spans = choose_spans(
        depth,
        longest_bridge_mm(plan.furnace.longest_bar_mm(bar_width_mm(plan.printer)), depth),
        plan.sag_modulus_kpa or USUAL_SAG_MODULUS_KPA,
        plan.density_g_cm3,
    )
    bars = build_bars(spans, plan.printer)
    if plan.readings is Readings.FEW:
        bars = [bar for bar in bars if any(dim.line.id == FEW_BRIDGE for dim in bar.dimensions)]
    return spans, sorted(bars, key=lambda bar: -bar.printed_size[0])


def _misfits(plan: CouponPlan, pieces: list[Piece]) -> list[str]:
    """Names of the pieces that do not stand in the furnace by themselves."""
    furnace = plan.furnace
    return [
        piece.name
        for piece in pieces
        if piece.fired_size[2] > furnace.usable_height_mm or not takes(furnace, piece.fired_plan)
    ]


def too_small(plan: CouponPlan, misfits: list[str]) -> SettingError:
    """Refusal of a furnace, with the size that would do.

    Parameters
    ----------
    plan : CouponPlan
        Printer and furnace.
    misfits : list of str
        Names of the pieces that it does not take.

    Returns
    -------
    SettingError
        To be raised.
    """
    names = " and ".join(f"the {name}" for name in sorted(misfits))
    if len(misfits) > 2:
        names = "most pieces"
    return SettingError(
        f"the {plan.furnace} is too small for {names} of a coupon that can be measured",
        where="furnace",
        hint=_what_would_do(plan),
    )


def _what_would_do(plan: CouponPlan) -> str:
    """The furnace next in size that takes a coupon, and the coarsest finer nozzle that would help.

    Sides grow alone or together, whatever needs the least growth.
    """
    grown: list[tuple[float, int, Furnace]] = []
    for sides in product((0.0, 1.0), repeat=2 if isinstance(plan.furnace, CrucibleFurnace) else 3):
        if any(sides):
            least = _least_growth(plan, sides)
            if least is not None:
                grown.append((least, int(sum(sides)), _larger(plan.furnace, sides, least)))
    would = "give a larger one"
    if grown:
        _, _, furnace = min(grown, key=lambda each: each[:2])
        would = f"a {str(furnace).removesuffix(' inside')} would do with this nozzle"
    for nozzle in FINER_NOZZLES_MM:
        finer = Printer.from_nozzle(nozzle)
        if nozzle < plan.printer.nozzle_mm and _is_enough(replace(plan, printer=finer)):
            return f"{would}, or this one with a nozzle of {nozzle:g} mm"
    return would


def _least_growth(plan: CouponPlan, sides: tuple[float, ...]) -> float | None:
    """Least growth of these sides, whole mm, with which the furnace takes a coupon."""
    low, high = 0, int(MOST_GROWTH_MM)
    if not _is_enough(replace(plan, furnace=_larger(plan.furnace, sides, high))):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if _is_enough(replace(plan, furnace=_larger(plan.furnace, sides, middle))):
            high = middle
        else:
            low = middle
    return float(high)


def _larger(furnace: Furnace, sides: tuple[float, ...], by: float) -> Furnace:
    """A furnace with some of its sides so many mm larger, rounded up to whole mm."""
    if isinstance(furnace, CrucibleFurnace):
        old: tuple[float, ...] = (furnace.diameter_mm, furnace.height_mm)
        return CrucibleFurnace(*_grown(old, sides, by))
    old = (furnace.length_mm, furnace.width_mm, furnace.height_mm)
    return BoxFurnace(*_grown(old, sides, by))


def _grown(old: tuple[float, ...], sides: tuple[float, ...], by: float) -> list[float]:
    return [ceil(size + by - 1e-9) if side else size for size, side in zip(old, sides, strict=True)]


def _is_enough(plan: CouponPlan) -> bool:
    """Whether a furnace takes every piece of a coupon, each by itself."""
    return not fitting_bars(plan, build_ladder(plan.printer))[1]


def takes(furnace: Furnace, outline: Rectangles) -> bool:
    """Whether a furnace's floor takes an outline by itself.

    Parameters
    ----------
    furnace : BoxFurnace or CrucibleFurnace
        Inside sizes.
    outline : tuple of (x, y, dx, dy)
        Rectangles of the piece as fired, mm.

    Returns
    -------
    bool
        Whether it does.
    """
    return furnace.floor_takes(corners([outline], [(0.0, 0.0, 0.0, 0.0)]))


def loads_of(plan: CouponPlan, pieces: tuple[Piece, ...]) -> list[list[Piece]]:
    """Loads that hold the pieces: the block's, and the bars together as far as they go.

    Parameters
    ----------
    plan : CouponPlan
        Printer and furnace.
    pieces : tuple of Piece
        The block first.

    Returns
    -------
    list of list of Piece
        Pieces of each load.
    """
    block, *others = pieces
    loads = [[block]]
    for piece in sorted(others, key=lambda piece: not piece.fired_standing):
        for load in loads[1:] if piece.fired_standing else loads:
            plans = [each.fired_plan for each in (*load, piece)]
            if floor_places(plans, plan.furnace):
                load.append(piece)
                break
        else:
            loads.append([piece])
    return loads
