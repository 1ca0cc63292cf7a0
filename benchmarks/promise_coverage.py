"""How often the promise for the next part holds, in simulated workshops.

Each workshop draws its truth, prints and fires coupons in two to six firings, fits them, scales
wanted lengths by the row as the main job does, and prints and fires the next part in a firing of
its own. Counted is the share of true lengths inside the interval that is printed, of all and of
each quarter of the intervals from the narrowest to the widest, and, of the small coupon of few
readings, how many slips of the pen are named. All numbers are INVENTED. Run ``python
benchmarks/promise_coverage.py [sets] [workshop] [slips]`` to write the tables again.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np

from shrinkrule.calibration import AXES, Axis, CalibrationRow, Feature, fit_sheets, row_from_fit
from shrinkrule.calibration.sheets.sheet import LENGTH_KINDS, Reading, Sheet, SheetSettings
from shrinkrule.compensation import LayerHeights, Print, expected_mm
from shrinkrule.coupon import CouponPlan, Readings, design_coupon
from shrinkrule.furnace import parse_box
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind
from shrinkrule.units import rounded_up

sys.path.append(str(Path(__file__).resolve().parent.parent / "sample_models"))
from make_sheets import blank_lines

LENGTHS_MM = (5.0, 20.0, 60.0)
LAYER_MM = 0.3
SIDE = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.BORE: -1.0, Kind.STEP: 0.0}
DESIGNS = ((1, 1), (1, 1, 1), (2, 1, 1), (1, 3, 1, 1), (1, 1, 1, 1, 1), (2, 1, 1, 1, 2, 1))


@dataclass(frozen=True)
class Workshop:
    """What is true there; fractions and mm."""

    scale: tuple[float, float, float] = (0.0, 0.0, 0.0)
    shrinkage: tuple[float, float, float] = (0.145, 0.145, 0.16)
    first_layer_mm: float = 0.0
    bore_mm: float = 0.0
    bore_mm2: float = 0.0
    """What a bore is off by beyond that, times its diameter: curvature drags the bead inward."""
    bead_mm: float = 0.04
    zero_mm: float = 0.0
    firing_sd: float = 0.0012
    part_sd: float = 0.0006
    drift: float = 0.0
    """What each firing shrinks beyond the one before it."""
    thick: float = 0.0
    """What the next part, thicker than the coupon, shrinks less: no coupon can show it."""
    print_sd_mm: float = 0.02
    fired_sd_mm: float = 0.015
    caliper_sd_mm: float = 0.01
    tails: bool = False
    slip_mm: float = 0.0
    crack_mm: float = 0.0
    layered: bool = False
    few: bool = False
    """The coupon of few readings, each read once."""
    furnaces: float = 1.0
    """Factor by which furnaces differ from workshop to workshop: one sd of a log-normal law."""


WORKSHOPS = {
    "plain": Workshop(),
    "axis errors": Workshop(scale=(0.0041, -0.002, 0.003)),
    "axis errors, small": Workshop(scale=(0.0005, -0.0003, 0.0005)),
    "X against Y": Workshop(shrinkage=(0.14, 0.15, 0.16)),
    "X against Y, small": Workshop(shrinkage=(0.145, 0.1458, 0.16)),
    "first layer": Workshop(first_layer_mm=-0.1),
    "whole layers": Workshop(first_layer_mm=-0.03, layered=True),
    "bores": Workshop(bore_mm=-0.08),
    "bores, small ones tighter": Workshop(bore_mm2=-0.4),
    "caliper's zero": Workshop(zero_mm=0.04),
    "furnace that drifts": Workshop(drift=0.0008),
    "thick against thin": Workshop(thick=0.004),
    "heavy tails": Workshop(tails=True),
    "one slip": Workshop(slip_mm=0.4),
    "one cracked coupon": Workshop(crack_mm=0.3),
    "few readings": Workshop(few=True),
    "few readings, steady furnace": Workshop(few=True, firing_sd=0.0004, part_sd=0.0002),
    "few readings, unsteady furnace": Workshop(few=True, firing_sd=0.0025, part_sd=0.001),
    "few readings, furnaces of every kind": Workshop(
        few=True, firing_sd=0.0015, part_sd=0.0006, furnaces=2.0
    ),
    "few readings, caliper's zero": Workshop(few=True, zero_mm=0.04),
}
FEW_DESIGNS = ((1, 1), (1, 1, 1), (1, 1, 1, 1))


@dataclass
class Count:
    """Parts that were held, and the widths of their intervals."""

    held: list[bool] = field(default_factory=list)
    half: list[float] = field(default_factory=list)


def noise(rng: np.random.Generator, shop: Workshop, sd: float) -> float:
    """One error; Student's of 3 degrees of freedom with the same scale in heavy tails."""
    return float(sd * (rng.standard_t(3) if shop.tails else rng.normal()))


def settings(firing: int, coupon: int) -> SheetSettings:
    nothing = dict.fromkeys(
        ("metal_density", "binder_density", "metal_mass_share", "water_density", "nozzle",
         "bead_width", "layer_height", "weighed_volume", "weighed_surface", "thickest_section")
    )  # fmt: skip
    return SheetSettings(
        coupon=str(coupon), firing=str(firing), date="", material="invented", process="",
        caliper_resolution=0.01, gauge_resolution=0.05, balance_resolution=0.01, row="",
        **nothing,
    )  # fmt: skip


@cache
def lines(few: bool) -> list[tuple[str, Kind, int, float]]:
    """Mark, kind, axis and model length of the coupon's lengths."""
    plan = CouponPlan(Printer.from_nozzle(0.6), parse_box("80x60x50"), readings=Readings.FEW)
    return [
        (line.id, line.kind, "xyz".index(line.axis), float(line.nominal or 0.0))
        for line in (design_coupon(plan).lines if few else blank_lines())
        if line.kind in LENGTH_KINDS
    ]


def tightness(shop: Workshop, model: float) -> float:
    """What a bore of a diameter in the scaled model is off by."""
    return shop.bore_mm + shop.bore_mm2 / model


def coupon(
    rng: np.random.Generator, shop: Workshop, kept: Floats, numbers: tuple[int, int]
) -> Sheet:
    cracked = numbers[1] == 2 and shop.crack_mm
    readings = []
    for number, (mark, kind, axis, model) in enumerate(lines(shop.few)):
        green = model * (1.0 + shop.scale[axis]) + noise(rng, shop, shop.print_sd_mm)
        if axis < 2:
            green += 2.0 * shop.bead_mm * SIDE[kind] + (
                tightness(shop, model) if kind is Kind.BORE else 0.0
            )
        elif kind is Kind.OUTSIDE:
            green += shop.first_layer_mm
        fired = green * kept[axis] + noise(rng, shop, shop.fired_sd_mm)
        if cracked and axis == 0 and model > 10.0:
            fired += shop.crack_mm
        if shop.slip_mm and numbers[1] == 1 and number == 1:
            fired += shop.slip_mm
        both = [
            tuple(
                round(size + shop.zero_mm + rng.normal(0.0, shop.caliper_sd_mm), 2)
                for _ in range(1 if shop.few else 2)
            )
            for size in (green, fired)
        ]
        readings.append(
            Reading(number, mark, "", kind, "xyz"[axis], model, None, both[0], None, both[1])
        )
    return Sheet(f"{numbers[1]}.csv", settings(*numbers), tuple(readings), ())


def calibrated(rng: np.random.Generator, shop: Workshop, design: tuple[int, ...]) -> CalibrationRow:
    sheets: list[Sheet] = []
    for firing, coupons in enumerate(design):
        hotter = rng.normal(0.0, shop.firing_sd) + shop.drift * firing
        for _ in range(coupons):
            kept = 1.0 - np.array(shop.shrinkage) - hotter - rng.normal(0.0, shop.part_sd)
            sheets.append(coupon(rng, shop, kept, (firing, len(sheets) + 1)))
    return row_from_fit(fit_sheets(sheets), "invented")


def next_part(
    rng: np.random.Generator, shop: Workshop, row: CalibrationRow, narrowed: float
) -> list[tuple[Axis, Feature, float, bool, float]]:
    """Whether each length of a part of the next firing lies in the interval printed for it."""
    off = rng.normal(0.0, shop.firing_sd) + rng.normal(0.0, shop.part_sd)
    off += shop.drift * row.firings - shop.thick
    made = Print(LayerHeights(LAYER_MM, LAYER_MM)) if shop.layered else Print()
    found = []
    for number, axis in enumerate(AXES):
        kept = 1.0 - shop.shrinkage[number] - off
        for feature in (Feature.OUTSIDE, Feature.SLOT, Feature.BORE):
            if (axis == "z" and feature is not Feature.OUTSIDE) or not row.knows(axis, feature):
                continue
            for wanted in LENGTHS_MM:
                model = wanted * row.along(axis).factor
                told = row.promise(axis, expected_mm(row, axis, model, feature, made), feature)
                assert told.half95 is not None
                drawn = made.sliced_mm(model) if axis == "z" else model
                green = drawn * (1.0 + shop.scale[number]) + noise(rng, shop, shop.print_sd_mm)
                spread = 0.0 if row.bead_offset_mm is None else row.bead_offset_mm.value
                side = {Feature.OUTSIDE: 1.0}.get(feature, -1.0)
                if axis == "z":
                    green += shop.first_layer_mm
                else:
                    green += 2.0 * side * (shop.bead_mm - spread)
                    green += tightness(shop, drawn) if feature is Feature.BORE else 0.0
                fired = green * kept + noise(rng, shop, shop.fired_sd_mm)
                # As printed: two decimals, the half width rounded up.
                half = narrowed * float(rounded_up(told.half95))
                held = abs(fired - round(told.value, 2)) <= half
                found.append((axis, feature, wanted, held, told.half95))
    return found


def coverage(
    shop: Workshop, sets: int, seed: int, narrowed: float = 1.0
) -> dict[tuple[Axis, Feature, float], Count]:
    """Count the parts of so many calibrations, a part each."""
    cells: dict[tuple[Axis, Feature, float], Count] = {}
    for number in range(sets):
        rng = np.random.default_rng([seed, number])
        designs = FEW_DESIGNS if shop.few else DESIGNS
        own = with_a_furnace(rng, shop)
        row = calibrated(rng, own, designs[number % len(designs)])
        for axis, feature, wanted, held, half in next_part(rng, own, row, narrowed):
            cell = cells.setdefault((axis, feature, wanted), Count())
            cell.held.append(held)
            cell.half.append(half)
    return cells


def with_a_furnace(rng: np.random.Generator, shop: Workshop) -> Workshop:
    """The workshop with a furnace of its own, where furnaces differ."""
    if shop.furnaces == 1.0:
        return shop
    times = shop.furnaces ** rng.normal()
    return replace(shop, firing_sd=shop.firing_sd * times, part_sd=shop.part_sd * times)


def by_quarter(count: Count) -> list[list[bool]]:
    """Whether parts were held, in quarters from the narrowest intervals to the widest."""
    order = np.argsort(count.half, kind="stable")
    return [[count.held[place] for place in quarter] for quarter in np.array_split(order, 4)]


def quarters_held(cells: dict[tuple[Axis, Feature, float], Count]) -> list[float]:
    """What is held of each quarter of the intervals, narrowest first, %; ranked cell by cell."""
    parts = [by_quarter(count) for count in cells.values()]
    return [100.0 * float(np.mean(np.concatenate(each))) for each in zip(*parts, strict=True)]


def slips_named(size_mm: float, campaigns: int, seed: int, firings: int) -> tuple[float, float]:
    """Shares of campaigns with a slip of the pen of which it is named, and others are, by mark."""
    named = others = 0
    shop = Workshop(few=True)
    for number in range(campaigns):
        rng = np.random.default_rng([seed, number])
        sheets = [fired_sheet(rng, shop, firing) for firing in range(firings)]
        which, where = rng.integers(firings), rng.integers(len(sheets[0].readings))
        slip = float(rng.choice([-1.0, 1.0])) * size_mm
        reading = sheets[which].readings[where]
        wrong = (
            replace(reading, green=(reading.green[0] + slip,))
            if rng.random() < 0.5
            else replace(reading, fired=(reading.fired[0] + slip,))
        )
        readings = tuple(wrong if r is reading else r for r in sheets[which].readings)
        sheets[which] = replace(sheets[which], readings=readings)
        found = fit_sheets(sheets).outliers
        right = [o for o in found if o.id == reading.id and o.where == sheets[which].where]
        named += bool(right)
        others += len(found) > len(right)
    return 100.0 * named / campaigns, 100.0 * others / campaigns


def fired_sheet(rng: np.random.Generator, shop: Workshop, firing: int) -> Sheet:
    """Sheet of one coupon in a firing of its own."""
    hotter = rng.normal(0.0, shop.firing_sd) + rng.normal(0.0, shop.part_sd)
    return coupon(rng, shop, 1.0 - np.array(shop.shrinkage) - hotter, (firing, firing + 1))


def main() -> None:
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else 600
    print(
        "| workshop | parts | held, % | lowest cell, % | highest cell, % | half at 20 mm "
        "| quarters, narrowest first, % |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, shop in WORKSHOPS.items():
        if sys.argv[2:] and name not in sys.argv[2:]:
            continue
        cells = coverage(shop, sets, 13)
        held = [100.0 * float(np.mean(cell.held)) for cell in cells.values()]
        parts = sum(len(cell.held) for cell in cells.values())
        median = np.median(cells["x", Feature.OUTSIDE, 20.0].half)
        quarters = ", ".join(f"{share:.1f}" for share in quarters_held(cells))
        print(
            f"| {name} | {parts} | {np.mean(held):.1f} | {min(held):.1f} | {max(held):.1f} "
            f"| {median:.3f} | {quarters} |",
            flush=True,
        )
    if sys.argv[2:] and "slips" not in sys.argv[2:]:
        return
    for firings in (2, 3, 4):
        for size_mm in (0.0, 0.2, 0.3, 0.5):
            named, others = slips_named(size_mm, sets, 17, firings)
            print(
                f"few readings, {firings} firings, slip of {size_mm:.1f} mm: named in {named:.0f} %"
                f" of campaigns, another reading in {others:.1f} %",
                flush=True,
            )


def with_effect(name: str, units: float, u: float) -> Workshop:
    """A workshop of which one effect is so many of its standard uncertainties."""
    plain = Workshop()
    size = units * u
    if name == "axis":
        return replace(plain, scale=(size, 0.0, 0.0))
    if name == "first layer":
        return replace(plain, first_layer_mm=size)
    return replace(plain, shrinkage=(0.145 + size, 0.145, 0.16))


if __name__ == "__main__":
    main()
