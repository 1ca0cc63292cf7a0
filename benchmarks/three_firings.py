"""The whole loop as a new user goes it, three firings long: how far off are first and third part?

A coupon is printed on a printer whose X axis is off, fired and fitted; then a lever is made three
times, each in a firing of its own, reviewed, and its readings teach the row. Printer and furnace
are simulated, all numbers INVENTED. Run ``python benchmarks/three_firings.py [loops]``.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from shrinkrule.cli import main as shrinkrule

SAMPLES: Final = Path(__file__).resolve().parent.parent / "sample_models"
SIDE: Final = {"outside": 1.0, "inside": -1.0, "bore": -1.0, "step": 0.0}
METAL: Final = 0.552
DENSITY: Final = 8.8
SHARE: Final = 0.90


@dataclass(frozen=True)
class Shop:
    """What is true there; fractions and mm."""

    shrinkage: tuple[float, float, float] = (0.1455, 0.1455, 0.160)
    scale: tuple[float, float, float] = (0.006, 0.0, 0.0)
    bead_mm: float = 0.04
    first_layer_mm: float = -0.03
    firing_sd: float = 0.0012
    print_sd_mm: float = 0.015
    fired_sd_mm: float = 0.012
    caliper_sd_mm: float = 0.008


def fill_sheet(path: Path, firing: int, seed: int, shop: Shop | None = None) -> None:
    """Print, fire and measure what a sheet asks for, of a coupon or of a load."""
    shop = shop or Shop()
    rng = np.random.default_rng([seed, firing])
    hotter = rng.normal(0.0, shop.firing_sd)
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    told = {
        "S1": "1", "S2": str(firing), "S3": f"2026-11-{firing:02d}", "S4": "bronze demo batch",
        "S6": str(DENSITY), "S8": str(100.0 * SHARE),
    }  # fmt: skip
    facts = {row["id"]: float(row["nominal"] or 0.0) for row in rows if row["kind"] == "part"}
    facts |= {r["id"]: float(r["nominal"] or 0.0) for r in rows if r["id"] in {"S16", "S17"}}
    for row in rows:
        if row["kind"] == "setting":
            row["nominal"] = row["nominal"] or told.get(row["id"], "")
        elif row["kind"] == "mass":
            volume = facts.get(row["id"][0], facts.get("S16", 0.0))
            volume *= 1.0 + shop.scale[0]
            volume += shop.bead_mm * facts.get("S17", 0.0)
            metal = volume * METAL * DENSITY / 1000.0 * (1.0 + rng.normal(0.0, 0.003))
            row["green_1"], row["debound_1"] = f"{metal / SHARE:.2f}", f"{metal:.2f}"
            row["fired_1"] = f"{metal:.2f}"
        elif row["kind"] in SIDE:
            axis = "xyz".index(row["axis"])
            green = float(row["nominal"]) * (1.0 + shop.scale[axis])
            green += rng.normal(0.0, shop.print_sd_mm)
            if axis < 2:
                green += 2.0 * shop.bead_mm * SIDE[row["kind"]]
            elif row["kind"] == "outside":
                green += shop.first_layer_mm
            fired = green * (1.0 - shop.shrinkage[axis] - hotter)
            fired += rng.normal(0.0, shop.fired_sd_mm) + float(row.get("sag") or 0.0)
            for stage, size in (("green", green), ("fired", fired)):
                for number in (1, 2):
                    read = size + rng.normal(0.0, shop.caliper_sd_mm)
                    row[f"{stage}_{number}"] = f"{read:.2f}"
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8", newline="")


def run(*command: str) -> None:
    """One command, in silence."""
    with contextlib.redirect_stdout(io.StringIO()):
        code = shrinkrule(list(command))
    if code:
        raise SystemExit(f"{command} ended with {code}")


def loop(folder: Path, seed: int) -> list[tuple[float, float, float | None]]:
    """Go the loop once: error of X, largest error, and half width for X, of each of three parts."""
    os.chdir(folder)
    run("coupon", "--box", "80x60x50", "--material", "bronze demo batch")
    fill_sheet(Path("coupon.sheet.csv"), 1, seed)
    table = ["--table", "table.csv"]
    run("calibrate", "coupon.sheet.csv", *table, "--row", "bronze", "--yes")
    found = []
    for firing in (2, 3, 4):
        name = f"lever{firing}"
        lever = str(SAMPLES / "lever_arm.stl")
        run("compensate", lever, *table, "--row", "bronze", "--name", name, "--no-sag")
        run("traveler", f"{name}.report.json", "--name", name)
        sheet = Path(f"{name}.load.csv")
        fill_sheet(sheet, firing, seed)
        report = json.loads(Path(f"{name}.report.json").read_text(encoding="utf-8"))
        wanted = {
            (one["number"], reading["in_print"]): one["size_mm"]
            for one in report["dimensions"]
            for reading in one["readings"]
        }
        errors = {}
        with sheet.open(encoding="utf-8", newline="") as stream:
            for row in csv.DictReader(stream):
                if row["kind"] in SIDE:
                    number = int(row["id"].strip("AXY"))
                    read = 0.5 * (float(row["fired_1"]) + float(row["fired_2"]))
                    # A height is held against what its whole layers make, not against the wish.
                    if row["axis"] != "z":
                        errors[row["id"]] = read - wanted[number, row["axis"].upper()]
        half = report["prediction"]["sizes"][0]["fired_mm"]["half95"]
        found.append((errors["A1"], max(map(abs, errors.values())), half))
        run("review", str(sheet), *table, "--learn", "--yes")
    return found


def main() -> None:
    loops = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    parts = []
    for seed in range(loops):
        with tempfile.TemporaryDirectory() as folder:
            parts.append(loop(Path(folder), seed))
        os.chdir(SAMPLES)
    print("| part | X of 32.5 mm off by, mm (root mean square) | largest in XY | promised for X |")
    print("| --- | --- | --- | --- |")
    for number in range(3):
        x = np.sqrt(np.mean([one[number][0] ** 2 for one in parts]))
        most = np.mean([one[number][1] for one in parts])
        halves = [half for one in parts if (half := one[number][2]) is not None]
        shown = f"± {np.median(halves):.2f}" if halves else "not known"
        print(f"| {number + 1} | {x:.3f} | {most:.3f} | {shown} |")


if __name__ == "__main__":
    main()
