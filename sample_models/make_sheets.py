"""Make the demo sheets: a coupon's measuring sheet, filled with INVENTED numbers.

No coupon was fired for them. They show what filled sheets look like, and the tests know what is
true behind them. Run ``python sample_models/make_sheets.py`` to write them again into ``sheets``
beside this script.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from shrinkrule.coupon import CouponPlan, design_coupon
from shrinkrule.furnace import parse_box
from shrinkrule.printer import Printer
from shrinkrule.sheet import FIRED_COLUMNS, GREEN_COLUMNS, Kind, Setting, SheetLine, sheet_csv
from shrinkrule.units import weight_kpa_per_mm

SIDE = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.BORE: -1.0, Kind.STEP: 0.0}
SEED = 20
DEMO_COUPONS = (2, 1, 1)
"""Coupons in each firing of the demo."""


@dataclass(frozen=True)
class Truth:
    """What is true in the invented workshop. Fractions, mm, kPa, g/cm3."""

    shrinkage_x: float = 0.1455
    shrinkage_y: float = 0.1455
    shrinkage_z: float = 0.1600
    firing_sd: float = 0.0012
    part_sd: float = 0.0006
    intercept_z_mm: float = 0.0
    bead_mm: float = 0.040
    first_layer_mm: float = -0.030
    print_scale: float = 0.0
    print_sd_mm: float = 0.020
    fired_sd_mm: float = 0.020
    caliper_sd_mm: float = 0.008
    sag_modulus_kpa: float = 900.0
    sag_modulus_sd: float = 0.04
    drop_sd: float = 0.03
    metal_density: float = 8.80
    binder_density: float = 1.24
    metal_mass_share: float = 0.90
    print_voids: float = 0.013
    thinnest_wall_mm: float = 0.80
    repeats: int = 2


@lru_cache(maxsize=1)
def blank_lines() -> tuple[SheetLine, ...]:
    """Lines of the demo coupon's sheet, as the coupon command writes them."""
    plan = CouponPlan(
        Printer.from_nozzle(0.6),
        parse_box("80x60x50"),
        sag_modulus_kpa=900.0,
        density_g_cm3=7.5,
        material="bronze demo batch",
        process="bench furnace, carbon bed (invented)",
    )
    return tuple(design_coupon(plan).lines)


def filled_sheets(
    truth: Truth, coupons: tuple[int, ...], seed: int = SEED
) -> dict[tuple[int, int], str]:
    """CSV texts of filled sheets by (firing, coupon), as many coupons in each firing as told."""
    rng = np.random.default_rng(seed)
    sheets: dict[tuple[int, int], str] = {}
    for firing, count in enumerate(coupons, start=1):
        hotter = rng.normal(0.0, truth.firing_sd)
        softer = np.exp(rng.normal(0.0, truth.sag_modulus_sd))
        for _ in range(count):
            coupon = len(sheets) + 1
            sheets[firing, coupon] = _filled(truth, rng, firing, coupon, hotter, softer)
    return sheets


def _filled(
    truth: Truth, rng: np.random.Generator, firing: int, coupon: int, hotter: float, softer: float
) -> str:
    own = hotter + rng.normal(0.0, truth.part_sd)
    kept = {
        "x": 1.0 - truth.shrinkage_x - own,
        "y": 1.0 - truth.shrinkage_y - own,
        "z": 1.0 - truth.shrinkage_z - own,
    }
    lines = blank_lines()
    facts = {line.id: float(line.nominal or 0.0) for line in lines if line.id in {"S16", "S17"}}
    volume = facts["S16"] * (1.0 + truth.print_scale) ** 2 + facts["S17"] * truth.bead_mm
    metal = truth.metal_mass_share / truth.metal_density
    filament = metal / (metal + (1.0 - truth.metal_mass_share) / truth.binder_density)
    metal_g = volume * filament * (1.0 - truth.print_voids) * truth.metal_density / 1000.0
    left = kept["x"] * kept["y"] * kept["z"]
    density = 1000.0 * metal_g / (volume * left)
    cells: dict[str, dict[str, object]] = {}
    pins = np.random.default_rng([firing, coupon])
    for line in lines:
        if line.kind in SIDE:
            # Pins draw by themselves: the other readings are those of a block without such holes.
            own_rng = pins if "small round hole" in line.feature else rng
            cells[line.id] = _length(truth, own_rng, line, kept)
        elif line.kind in {Kind.WALL, Kind.FLOOR}:
            cells[line.id] = _step(truth, rng, line, kept)
        elif line.kind in {Kind.BRIDGE, Kind.CANTILEVER}:
            modulus = truth.sag_modulus_kpa * softer
            cells[line.id] = _drop(truth, rng, line, kept["x"], modulus, density)
    cells["M1"] = {
        "green_1": f"{metal_g / truth.metal_mass_share:.2f}",
        "debound_1": f"{metal_g:.2f}",
        "fired_1": f"{metal_g:.2f}",
    }
    cells["M2"] = {"fired_1": f"{metal_g * (1.0 - 0.99821 / density):.2f}"}
    told: dict[str, float | str] = {
        Setting.COUPON: str(coupon),
        Setting.FIRING: str(firing),
        Setting.DATE: f"2026-11-{firing:02d}",
        Setting.METAL_DENSITY: truth.metal_density,
        Setting.BINDER_DENSITY: truth.binder_density,
        Setting.METAL_MASS_SHARE: 100.0 * truth.metal_mass_share,
        Setting.GAUGE_RESOLUTION: 0.02,
    }
    filled = [replace(x, nominal=told.get(x.id, x.nominal)) for x in lines]
    return _typed(sheet_csv(filled), cells)


def _typed(csv_text: str, cells: dict[str, dict[str, object]]) -> str:
    """Blank sheet with readings typed into it."""
    import csv
    import io

    reader = csv.DictReader(io.StringIO(csv_text, newline=""))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, reader.fieldnames or [], lineterminator="\r\n")
    writer.writeheader()
    for row in reader:
        writer.writerow({**row, **cells.get(row["id"], {})})
    return out.getvalue()


def _length(
    truth: Truth, rng: np.random.Generator, line: SheetLine, kept: dict[str, float]
) -> dict[str, object]:
    model, side = float(line.nominal or 0.0), SIDE[line.kind]
    grown = side * (truth.first_layer_mm if line.axis == "z" else 2.0 * truth.bead_mm)
    green = model * (1.0 + truth.print_scale) + grown + rng.normal(0.0, truth.print_sd_mm)
    fired = green * kept[line.axis] + rng.normal(0.0, truth.fired_sd_mm)
    fired += truth.intercept_z_mm if line.axis == "z" else 0.0
    return _readings(truth, rng, green, fired)


def _step(
    truth: Truth, rng: np.random.Generator, line: SheetLine, kept: dict[str, float]
) -> dict[str, object]:
    model = float(line.nominal or 0.0)
    if line.kind is Kind.WALL and model < truth.thinnest_wall_mm:
        return {"green_1": "0", "fired_1": "0"}
    green = model + 2.0 * truth.bead_mm + rng.normal(0.0, truth.print_sd_mm)
    return _readings(replace(truth, repeats=1), rng, green, green * kept[line.axis])


def _drop(
    truth: Truth,
    rng: np.random.Generator,
    line: SheetLine,
    kept: float,
    modulus: float,
    density: float,
) -> dict[str, object]:
    spread = 2.0 * truth.bead_mm
    factor, narrowed = (1.0 / 32.0, spread) if line.kind is Kind.BRIDGE else (1.5, 0.0)
    span = (float(line.nominal or 0.0) - narrowed) * kept
    depth = (float(line.thickness or 0.0) + spread) * kept
    drop = factor * weight_kpa_per_mm(density) * span**4 / (modulus * depth**2)
    return {"fired_1": f"{drop * np.exp(rng.normal(0.0, truth.drop_sd)):.2f}"}


def _readings(
    truth: Truth, rng: np.random.Generator, green: float, fired: float
) -> dict[str, object]:
    cells: dict[str, object] = {}
    for columns, size in ((GREEN_COLUMNS, green), (FIRED_COLUMNS, fired)):
        for column in columns[: truth.repeats]:
            cells[column] = f"{size + rng.normal(0.0, truth.caliper_sd_mm):.2f}"
    return cells


def main() -> None:
    """Write the demo sheets: four coupons in three firings."""
    folder = Path(__file__).parent / "sheets"
    folder.mkdir(exist_ok=True)
    for (firing, coupon), text in filled_sheets(Truth(), DEMO_COUPONS).items():
        path = folder / f"bronze_demo_firing{firing}_coupon{coupon}.csv"
        path.write_text(text, encoding="utf-8", newline="")


if __name__ == "__main__":
    main()
