"""Ten kinds of coupon, made, filled and fitted by the page and the sheet alone, as a new user does.

Run ``python benchmarks/coupons_filled.py [--worlds N]``. Each kind (nozzle, furnace, few readings
or all) is made by the command; a world of its own (shrinkage, bead, first layer, modulus, how
firings differ) fills three copies of its sheet, one a firing, with what a caliper, feelers and a
balance would read; the command fits them. Nothing but the ids on the page and the cells of the
sheet tells the world what is measured. The table tells what came out, the half width (95 %) that
the fit states, and how many of all that it states hold the truth.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import io
import json
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from scipy import stats

from shrinkrule.cli import main as command
from shrinkrule.units import weight_kpa_per_mm

KINDS: Final = (
    ("--nozzle 0.6 --box 80x60x50", False),
    ("--nozzle 0.6 --box 80x60x50", True),
    ("--nozzle 0.4 --crucible 90x60", False),
    ("--nozzle 0.4 --crucible 90x60", True),
    ("--nozzle 0.25 --box 50x40x40", False),
    ("--nozzle 0.25 --box 50x40x40", True),
    ("--nozzle 0.8 --box 150x150x80", False),
    ("--nozzle 0.8 --box 150x150x80", True),
    ("--nozzle 0.6 --layer-height 0.2 --crucible 120x80", False),
    ("--nozzle 0.5 --crucible 70x50", True),
)
FIRINGS: Final = 3
CALIPER_MM, BALANCE_G, GAUGE_MM = 0.01, 0.01, 0.05
METAL, BINDER, METAL_SHARE = 8.80, 1.24, 0.90
SIDE: Final = {"outside": 1.0, "inside": -1.0, "bore": -1.0, "step": 0.0}


@dataclass(frozen=True)
class World:
    """What is true in one workshop: fractions, mm, kPa."""

    shrinkage: dict[str, float]
    bead: float
    bore: float
    first_layer: float
    modulus: float
    seed: int

    @classmethod
    def drawn(cls, seed: int) -> World:
        rng = np.random.default_rng(seed)
        flat = rng.uniform(0.10, 0.18)
        shrinkage = {"x": flat, "y": flat, "z": flat + rng.uniform(0.0, 0.02)}
        return cls(
            shrinkage,
            rng.uniform(-0.03, 0.08),
            rng.uniform(-0.08, 0.0),
            rng.uniform(-0.06, 0.04),
            500.0 * float(np.exp(rng.uniform(-0.5, 0.5))),
            seed,
        )

    def filled(self, blank: str, page: str, firing: int) -> str:
        """A sheet as this world fills it: rows that the page shows, in one firing."""
        rng = np.random.default_rng((self.seed, firing))
        own = rng.normal(0.0, 0.0012)
        kept = {axis: 1.0 - s - own for axis, s in self.shrinkage.items()}
        rows = list(csv.DictReader(io.StringIO(blank, newline="")))
        known = {row["id"]: row for row in rows}
        spread = 2.0 * self.bead
        volume = float(known["S16"]["nominal"]) + self.bead * float(known["S17"]["nominal"])
        part = METAL_SHARE / METAL
        share = part / (part + (1.0 - METAL_SHARE) / BINDER) * 0.987
        metal_g = volume * share * METAL / 1000.0
        density = 1000.0 * metal_g / (volume * kept["x"] * kept["y"] * kept["z"])
        told = {"S1": f"{firing}", "S2": f"{firing}", "S4": "bronze demo batch"}
        told |= {"S6": f"{METAL}", "S7": f"{BINDER}", "S8": f"{100 * METAL_SHARE:g}"}

        def read(value: float, step: float, sd: float) -> str:
            return f"{round((value + rng.normal(0.0, sd)) / step) * step:.3f}"

        for row in rows:
            kind, axis = row["kind"], row["axis"]
            if f'id="row-{row["id"]}"' not in page:
                raise SystemExit(f"{row['id']} is on the sheet and not on the page")
            if kind == "setting":
                row["nominal"] = told.get(row["id"], row["nominal"])
                continue
            size = float(row["nominal"] or 0.0)
            if kind in SIDE:
                grown = SIDE[kind] * (self.first_layer if axis == "z" else spread)
                grown += self.bore if kind == "bore" else 0.0
                if row["id"].startswith("T"):
                    grown = spread
                green = size + grown + rng.normal(0.0, 0.02)
                fired = green * kept[axis] + rng.normal(0.0, 0.02)
                row["green_1"] = read(green, CALIPER_MM, 0.008)
                row["fired_1"] = read(fired, CALIPER_MM, 0.008)
            elif kind in {"wall", "floor"}:
                row["green_1"] = read(size + spread, CALIPER_MM, 0.02)
                row["fired_1"] = read((size + spread) * kept["x"], CALIPER_MM, 0.02)
            elif kind in {"bridge", "cantilever"}:
                factor, off = (1.0 / 32.0, spread) if kind == "bridge" else (1.5, 0.0)
                span, deep = (
                    (size - off) * kept["x"],
                    (float(row["thickness"]) + spread) * kept["x"],
                )
                drop = factor * weight_kpa_per_mm(density) * span**4 / (self.modulus * deep**2)
                row["green_1"], row["fired_1"] = "0", read(drop, GAUGE_MM, 0.02 * drop)
            elif kind == "mass":
                row["green_1"] = read(metal_g / METAL_SHARE, BALANCE_G, 0.0)
                row["fired_1"] = read(metal_g, BALANCE_G, 0.0)
        out = io.StringIO(newline="")
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\r\n")
        writer.writeheader()
        writer.writerows(rows)
        return out.getvalue()


def called(*arguments: str) -> dict[str, Any]:
    """JSON of a command that must succeed."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = command([*arguments, "--json"])
    if code:
        raise SystemExit(f"shrinkrule {' '.join(arguments)}: exit code {code}")
    found: dict[str, Any] = json.loads(out.getvalue())
    return found


def made_and_fitted(
    kind: str, few: bool, world: World, folder: Path
) -> tuple[dict[str, Any], dict[str, Any], list[str]]:
    """The coupon, the fitted row and the fit's notes of one kind in one world."""
    more = ["--few-readings"] if few else []
    made = called("coupon", *kind.split(), *more, "--out", str(folder))
    blank = (folder / "coupon.sheet.csv").read_text(encoding="utf-8-sig")
    page = (folder / "coupon.page.html").read_text(encoding="utf-8")
    sheets = []
    for firing in range(1, FIRINGS + 1):
        sheet = folder / f"firing{firing}.csv"
        sheet.write_text(world.filled(blank, page, firing), encoding="utf-8", newline="")
        sheets.append(str(sheet))
    fit = called("calibrate", *sheets, "--out", str(folder))
    notes = [note["text"] for note in fit["notes"] if note["weight"] != "fact"]
    return made, fit["row"], notes


def judged(row: dict[str, Any], world: World) -> dict[str, tuple[float, float, float]]:
    """Value, half width (95 %) and truth of what a row states, by name."""
    flat = float(stats.t.ppf(0.975, row["degrees_of_freedom"] or FIRINGS - 1))
    found = {}
    for name, truth in (
        ("shrinkage_x", world.shrinkage["x"]),
        ("shrinkage_y", world.shrinkage["y"]),
        ("shrinkage_z", world.shrinkage["z"]),
    ):
        cell = row.get(name)
        if cell:
            found[name] = (cell["value"], flat * cell["u"], truth)
    for name, truth in (
        ("bead_offset_mm", world.bead),
        ("first_layer_mm", world.first_layer),
        ("sag_modulus_kpa", world.modulus),
    ):
        cell = row.get(name)
        if cell:
            student = float(stats.t.ppf(0.975, cell["dof"])) if cell["dof"] else 2.0
            found[name] = (cell["value"], student * cell["u"], truth)
    return found


def main() -> None:
    """Print the table and the share of statements that hold."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--worlds", type=int, default=1, help="worlds for each kind")
    asked = options.parse_args()
    held: dict[tuple[bool, str], list[bool]] = {}
    for number, (kind, few) in enumerate(KINDS):
        for repeat in range(asked.worlds):
            world = World.drawn(100 * number + repeat)
            with tempfile.TemporaryDirectory() as name:
                made, row, notes = made_and_fitted(kind, few, world, Path(name))
            facts = judged(row, world)
            for what, (value, half, truth) in facts.items():
                held.setdefault((few, what), []).append(abs(value - truth) <= half)
            if repeat:
                continue
            rows = sum(each["kind"] != "setting" for each in made["rows"])
            print(f"{re.sub('--', '', kind)}, {'few' if few else 'all'}: {rows} rows")
            for what, (value, half, truth) in facts.items():
                print(f"  {what:<16} {value:9.4f} ± {half:.4f}, true {truth:.4f}")
            for note in notes:
                print(f"  said: {note}")
    for (few, what), answers in sorted(held.items()):
        print(f"{'few' if few else 'all'} {what:<16} holds in {sum(answers)} of {len(answers)}")


if __name__ == "__main__":
    main()
