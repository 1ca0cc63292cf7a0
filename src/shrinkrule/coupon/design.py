"""Design of one calibration coupon: pieces that fit the furnace, and the sheet to fill in.

Answers, for a maker with a printer and a furnace: what do I print once, so that the
numbers I take on it tell scale, bead spread, thinnest wall and sag apart?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

from shrinkrule.coupon.block import (
    LONGEST_MM,
    LOWEST_MM,
    build_block,
    shortest_block_mm,
    size_block,
)
from shrinkrule.coupon.furnace import Furnace
from shrinkrule.coupon.ladder import build_ladder, ladder_size_mm
from shrinkrule.coupon.layout import Place, bed_places, floor_places
from shrinkrule.coupon.piece import Dimension, Piece
from shrinkrule.errors import SettingError
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind, Setting, SheetLine
from shrinkrule.units import WATER_DENSITY_20C_G_CM3


@dataclass(frozen=True)
class CouponPlan:
    """What a coupon is made for.

    Parameters
    ----------
    printer : Printer
        Nozzle, bead and layer.
    furnace : BoxFurnace or CrucibleFurnace
        Inside sizes of what the pieces are fired in.
    material, process : str
        Names for the sheet, as they will stand in the table; may be empty.
    """

    printer: Printer
    furnace: Furnace
    material: str = ""
    process: str = ""


@dataclass(frozen=True)
class Coupon:
    """A coupon ready to print, with its sheet.

    Parameters
    ----------
    plan : CouponPlan
        What it was made for.
    pieces : tuple of Piece
        Its bodies; the first is the block, which is also the piece to weigh.
    bed : tuple of (x, y, length, width)
        Where each piece lies on the bed, mm.
    floor : tuple of (x, y, length, width)
        Where each piece stands on the furnace floor, mm; empty when one load cannot hold all.
    lines : tuple of SheetLine
        The measuring sheet.
    notes : tuple of str
        What the maker should know about this coupon.
    """

    plan: CouponPlan
    pieces: tuple[Piece, ...]
    bed: tuple[Place, ...]
    floor: tuple[Place, ...]
    lines: tuple[SheetLine, ...]
    notes: tuple[str, ...]

    @property
    def mesh(self) -> trimesh.Trimesh:
        """All pieces in the print frame, standing on z = 0."""
        moved = [
            _moved(piece.mesh, place) for piece, place in zip(self.pieces, self.bed, strict=True)
        ]
        counts = np.cumsum([0, *(len(mesh.vertices) for mesh in moved[:-1])])
        return trimesh.Trimesh(
            vertices=np.vstack([mesh.vertices for mesh in moved]),
            faces=np.vstack([m.faces + n for m, n in zip(moved, counts, strict=True)]),
            process=False,
        )

    @property
    def dimensions(self) -> tuple[Dimension, ...]:
        """Every dimension in the print frame, in the order of the sheet."""
        return tuple(
            Dimension(
                dim.line,
                dim.tool,
                (dim.start[0] + place[0], dim.start[1] + place[1], dim.start[2]),
                (dim.end[0] + place[0], dim.end[1] + place[1], dim.end[2]),
                dim.approach,
            )
            for piece, place in zip(self.pieces, self.bed, strict=True)
            for dim in piece.dimensions
        )


def design_coupon(plan: CouponPlan) -> Coupon:
    """Coupon for a printer and a furnace.

    Raises
    ------
    SettingError
        When the furnace is too small for a coupon that can be measured.
    """
    height = plan.furnace.usable_height_mm
    if height < LOWEST_MM:
        raise SettingError(
            f"a coupon of at least {LOWEST_MM:g} mm does not stand in the {plan.furnace}",
            where="furnace",
            mend="give a higher one",
        )
    ladder = build_ladder(plan.printer)
    block, floor = _largest_block(plan, [ladder])
    pieces = (block, ladder)
    return Coupon(
        plan=plan,
        pieces=pieces,
        bed=tuple(bed_places([piece.printed_size[:2] for piece in pieces])),
        floor=tuple(floor),
        lines=(
            *_settings(plan, block),
            *_masses(),
            *(d.line for p in pieces for d in p.dimensions),
        ),
        notes=_notes(floor),
    )


def _largest_block(plan: CouponPlan, others: list[Piece]) -> tuple[Piece, list[Place]]:
    """Longest block that shares the floor with the others, else the longest that fits alone."""
    rest = [piece.fired_size[:2] for piece in others]
    shortest = shortest_block_mm(plan.printer)
    sides = np.arange(LONGEST_MM, shortest - 0.25, -0.5).tolist()
    alone = [side for side in sides if plan.furnace.floor_takes(_square(side))]
    if not alone or not all(_fits(plan.furnace, piece) for piece in others):
        raise SettingError(
            f"the {plan.furnace} is too small: a coupon that can be measured has a block "
            f"{shortest:g} mm square and a ladder {ladder_size_mm(plan.printer)[0]:.0f} mm long",
            where="furnace",
            mend="give a larger one or a finer nozzle",
        )
    for side in alone:
        floor = floor_places([(side, side), *rest], plan.furnace)
        if floor is not None:
            return _block(plan, side), floor
    return _block(plan, alone[0]), []


def _block(plan: CouponPlan, side: float) -> Piece:
    return build_block(size_block(side, plan.furnace.usable_height_mm, plan.printer), plan.printer)


def _fits(furnace: Furnace, piece: Piece) -> bool:
    length, width, height = piece.fired_size
    corners = np.array([[0.0, 0.0], [length, 0.0], [0.0, width], [length, width]])
    return height <= furnace.usable_height_mm and furnace.floor_takes(corners)


def _square(side: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.array([[0.0, 0.0], [side, 0.0], [0.0, side], [side, side]])


def _settings(plan: CouponPlan, block: Piece) -> list[SheetLine]:
    """Lines about the batch; the coupon fills in what it knows."""
    printer = plan.printer

    def line(
        key: Setting,
        feature: str,
        unit: str = "",
        nominal: float | str | None = None,
        note: str = "",
    ) -> SheetLine:
        return SheetLine(key.value, feature, Kind.SETTING, unit=unit, nominal=nominal, note=note)

    return [
        line(Setting.COUPON, "coupon", note="its number, as 1"),
        line(Setting.FIRING, "firing", note="its number; coupons fired together share it"),
        line(Setting.DATE, "date of firing", note="year-month-day"),
        line(Setting.MATERIAL, "material", nominal=plan.material or None),
        line(Setting.PROCESS, "process", nominal=plan.process or None, note="name of the firing"),
        line(Setting.METAL_DENSITY, "density of the solid metal", "g/cm3", note="from its maker"),
        line(Setting.BINDER_DENSITY, "density of the binder", "g/cm3", note="may be blank"),
        line(Setting.METAL_MASS_SHARE, "metal in the filament by mass", "pct", note="may be blank"),
        line(Setting.CALIPER_RESOLUTION, "last step of the caliper", "mm", 0.01),
        line(Setting.GAUGE_RESOLUTION, "last step of the feeler or depth gauge", "mm", 0.05),
        line(Setting.BALANCE_RESOLUTION, "last step of the balance", "g", 0.01),
        line(
            Setting.WATER_DENSITY,
            "density of the water",
            "g/cm3",
            WATER_DENSITY_20C_G_CM3,
            "for the hung weight; this is 20 degrees C",
        ),
        line(Setting.NOZZLE, "nozzle", "mm", printer.nozzle_mm),
        line(Setting.BEAD_WIDTH, "bead width", "mm", printer.bead_width_mm),
        line(Setting.LAYER_HEIGHT, "layer height", "mm", printer.layer_height_mm),
        line(Setting.WEIGHED_VOLUME, "model volume of the block", "mm3", float(block.mesh.volume)),
    ]


def _masses() -> list[SheetLine]:
    return [
        SheetLine("M1", "block, weighed in air", Kind.MASS, unit="g", note="dry, no loose powder"),
        SheetLine(
            "M2",
            "block, hung in water",
            Kind.MASS_IN_WATER,
            unit="g",
            note="fired only, pores sealed with oil or wax; may be blank",
        ),
    ]


def _notes(floor: list[Place]) -> tuple[str, ...]:
    if floor:
        return ("All pieces stand together on the furnace floor: fire them in one load.",)
    return (
        "The floor does not hold all pieces at once: fire them in more than one load, each with "
        "its own copy of the sheet and its own firing number.",
    )


def _moved(mesh: trimesh.Trimesh, place: Place) -> trimesh.Trimesh:
    out = mesh.copy()
    out.apply_translation((place[0], place[1], 0.0))
    return out
