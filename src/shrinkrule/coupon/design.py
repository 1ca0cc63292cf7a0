"""Design of one calibration coupon: pieces that fit the furnace, and the sheet to fill in.

Answers, for a maker with a printer and a furnace: what do I print once, so that the
numbers I take on it separate scale, bead spread, thinnest wall and sag?
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.coupon.block import block_plan, build_block
from shrinkrule.coupon.block_sizes import LONGEST_MM, PIN_BEADS, shortest_block_mm, size_block
from shrinkrule.coupon.fitting import (
    FEW_BRIDGE,
    CouponPlan,
    Readings,
    fitting_bars,
    loads_of,
    takes,
    too_small,
)
from shrinkrule.coupon.ladder import build_ladder
from shrinkrule.coupon.layout import Rectangle, bed_places, floor_places
from shrinkrule.coupon.piece import Dimension, Piece, Tool
from shrinkrule.coupon.spans import SagSpans, one_span_note, span_notes
from shrinkrule.coupon.worth import Worth, cannot_know, worth_of
from shrinkrule.sheet import Kind, Setting, SheetLine
from shrinkrule.units import WATER_DENSITY_20C_G_CM3

FEW_LONGEST_MM: Final = 40.0
"""Longest block of a coupon of few readings: the length that intervals are stated for."""


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
    limits : tuple of str
        What it cannot know; empty where it is to be read in full.
    """

    plan: CouponPlan
    pieces: tuple[Piece, ...]
    bed: tuple[Rectangle, ...]
    floor: tuple[Rectangle, ...]
    lines: tuple[SheetLine, ...]
    notes: tuple[str, ...]
    limits: tuple[str, ...] = ()

    @property
    def worth(self) -> Worth:
        """What it costs to print and to read, and what it tells."""
        return worth_of(self.pieces, self.lines, self.plan.printer, self.plan.density_g_cm3)

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
    """Coupon for a printer and a furnace; one of few readings says what it cannot know.

    Parameters
    ----------
    plan : CouponPlan
        Printer, furnace, and what is expected of the material.

    Returns
    -------
    Coupon
        Its pieces, where they lie, and what is measured on each.

    Raises
    ------
    SettingError
        When the furnace is too small for a coupon that can be measured.
    """
    made = _designed(plan)
    if plan.readings is Readings.ALL:
        return made
    long = _designed(replace(plan, readings=Readings.ALL))
    return replace(made, limits=cannot_know(made.worth, long.worth))


def _designed(plan: CouponPlan) -> Coupon:
    """The coupon, without a word of what it cannot know."""
    ladder = build_ladder(plan.printer)
    fitting, misfits = fitting_bars(plan, ladder)
    if misfits:
        raise too_small(plan, misfits)
    beside = [] if plan.readings is Readings.FEW else [ladder]
    found = [(spans, bars, *_block_beside(plan, [*bars, *beside])) for spans, bars in fitting]
    wanted = [option for option in found if option[0].as_wanted]
    one_load = [option for option in wanted if option[3]]
    spans, bars, block, floor = [*one_load, *wanted, found[-1]][0]
    pieces: tuple[Piece, ...] = (block, *bars, ladder)
    if plan.readings is Readings.FEW:
        pieces = (_few_of(block), *(_only(bar, {FEW_BRIDGE}) for bar in bars))
    measured = [dim.line for piece in pieces for dim in piece.dimensions]
    masses = [line for line in _masses() if plan.readings is Readings.ALL or line.id == "M1"]
    hung = any(line.kind is Kind.MASS_IN_WATER for line in masses)
    settings = _settings(plan, pieces)
    return Coupon(
        plan=plan,
        pieces=pieces,
        bed=bed_places([piece.printed_plan for piece in pieces]),
        floor=floor,
        lines=(
            *(line for line in settings if hung or line.id != Setting.WATER_DENSITY.value),
            *masses,
            *sorted(measured, key=_rank),
        ),
        notes=(*_notes(plan, pieces, floor), *_span_notes(plan, spans)),
    )


def _block_beside(plan: CouponPlan, others: list[Piece]) -> tuple[Piece, tuple[Rectangle, ...]]:
    """Longest block that shares the floor with the others, else the longest that fits alone."""
    shortest = shortest_block_mm(plan.printer)
    height = plan.furnace.usable_height_mm
    longest = LONGEST_MM
    if plan.readings is Readings.FEW:
        longest = max(FEW_LONGEST_MM, shortest)
    sides = np.arange(shortest, longest + 0.25, 0.5).tolist()
    sizes = [size_block(side, height, plan.printer) for side in sides]
    alone = [size for size in sizes if takes(plan.furnace, block_plan(size))]
    plans = [piece.fired_plan for piece in others]
    # A longer block needs more floor, so the longest that shares it is found by halving.
    floor: tuple[Rectangle, ...] = ()
    low, high = -1, len(alone)
    while high - low > 1:
        middle = (low + high) // 2
        if places := floor_places([block_plan(alone[middle]), *plans], plan.furnace):
            low, floor = middle, places
        else:
            high = middle
    return build_block(alone[low] if floor else alone[-1], plan.printer), floor


def _few_of(block: Piece) -> Piece:
    """The block with three lengths along each axis.

    Two have what bead or first layer adds; the third has it with the other sign, or not at all.
    """
    kept: set[str] = set()
    for axis, other in (("x", Kind.INSIDE), ("y", Kind.INSIDE), ("z", Kind.STEP)):
        along = [dim.line for dim in block.dimensions if dim.line.axis == axis]
        outside = sorted((line for line in along if line.kind is Kind.OUTSIDE), key=_size)
        rest = sorted((line for line in along if line.kind is other), key=_size)
        kept |= {outside[0].id, outside[-1].id, rest[-1].id}
    return _only(block, kept)


def _only(piece: Piece, ids: set[str]) -> Piece:
    """A piece with some of its dimensions alone."""
    return replace(piece, dimensions=tuple(d for d in piece.dimensions if d.line.id in ids))


def _size(line: SheetLine) -> float:
    return float(line.nominal or 0.0)


def _settings(plan: CouponPlan, pieces: tuple[Piece, ...]) -> list[SheetLine]:
    """Lines about the batch; the coupon fills in what it knows. The first piece is the block."""
    printer, block = plan.printer, pieces[0]

    def line(
        key: Setting,
        feature: str,
        unit: str = "",
        nominal: float | str | None = None,
        note: str = "",
    ) -> SheetLine:
        return SheetLine(key.value, feature, Kind.SETTING, unit=unit, nominal=nominal, note=note)

    yours = "change it if yours differs"
    return [
        line(Setting.COUPON, "coupon", note="its number, as 1"),
        line(Setting.FIRING, "firing", note="its number; coupons fired together share it"),
        line(Setting.DATE, "date of firing", note="year-month-day"),
        line(Setting.MATERIAL, "material", nominal=plan.material or None),
        line(Setting.PROCESS, "process", nominal=plan.process or None, note="name of the firing"),
        line(Setting.METAL_DENSITY, "density of the solid metal", "g/cm3", note="from its maker"),
        line(Setting.BINDER_DENSITY, "density of the binder", "g/cm3", note="may be blank"),
        line(Setting.METAL_MASS_SHARE, "metal in the filament by mass", "pct", note="may be blank"),
        line(Setting.CALIPER_RESOLUTION, "last step of the caliper", "mm", 0.01, yours),
        line(Setting.GAUGE_RESOLUTION, "last step of the feeler or depth gauge", "mm", 0.05, yours),
        line(Setting.BALANCE_RESOLUTION, "last step of the balance", "g", 0.01, yours),
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
        line(
            Setting.WEIGHED_SURFACE,
            "surface of the block seen from the side",
            "mm2",
            _side_surface(block.mesh),
        ),
        line(
            Setting.THICKEST_SECTION,
            "thickest section of the coupon",
            "mm",
            max(piece.thickest_mm for piece in pieces),
        ),
        line(
            Setting.FIRST_LAYER,
            "height of the first layer",
            "mm",
            note="blank if it is that of the others",
        ),
    ]


def _side_surface(mesh: trimesh.Trimesh) -> float:
    """Give the volume that a mesh gains per mm of outline offset, to first order, in mm2."""
    sideways = np.linalg.norm(np.asarray(mesh.face_normals)[:, :2], axis=1)
    return float(np.asarray(mesh.area_faces) @ sideways)


def _rank(line: SheetLine) -> tuple[int, str, int]:
    """Place on the sheet: lengths, walls, floors, drops; then by letter and number."""
    groups = (Kind.WALL, Kind.FLOOR, Kind.BRIDGE, Kind.CANTILEVER)
    group = groups.index(line.kind) + 1 if line.kind in groups else 0
    letter = line.id[0]
    return group, {"T": "~"}.get(letter, letter), int(line.id[1:])


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


def _notes(
    plan: CouponPlan, pieces: tuple[Piece, ...], floor: tuple[Rectangle, ...]
) -> tuple[str, ...]:
    notes = ["All pieces stand together on the furnace floor: fire them in one load."]
    if not floor:
        loads = loads_of(plan, pieces)
        named = "; ".join(", ".join(piece.name for piece in load) for load in loads)
        notes = [
            "The floor does not hold all pieces at once: fire them in more than one load "
            f"({named}).",
            "Type each load into a copy of the sheet of its own, with the same coupon number and "
            "its own firing number; leave blank what was not in it. Name all copies together when "
            "you calibrate: they are joined.",
        ]
    if plan.sag_modulus_kpa is None:
        few = plan.readings is Readings.FEW
        spans = "span is" if few else "spans are"
        notes.append(f"No sag modulus was given: the {spans} for a first guess.")
    return (*notes, *_pin_note(plan, pieces))


def _pin_note(plan: CouponPlan, pieces: tuple[Piece, ...]) -> tuple[str, ...]:
    """Say that a small block has fewer round holes for pins than a large one."""
    if plan.readings is Readings.FEW:
        return ()
    holes = sum(dim.tool is Tool.PIN for piece in pieces for dim in piece.dimensions)
    if holes == len(PIN_BEADS):
        return ()
    has = "none of the small round holes" if not holes else "only one of the two small round holes"
    return (
        f"The block is too small for all holes that a gauge pin measures: it has {has}. How round "
        "holes go with their diameter is then known from "
        + ("two diameters instead of three." if holes else "one diameter, and so not at all."),
    )


def _span_notes(plan: CouponPlan, spans: SagSpans) -> tuple[str, ...]:
    if plan.readings is Readings.FEW:
        return (one_span_note(spans),)
    return span_notes(spans)


def _moved(mesh: trimesh.Trimesh, place: Rectangle) -> trimesh.Trimesh:
    out = mesh.copy()
    out.apply_translation((place[0], place[1], 0.0))
    return out
