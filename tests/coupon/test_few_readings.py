"""A coupon of few readings: what is on it, what it says it cannot know, and that it is fitted."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from shrinkrule.cli import main
from shrinkrule.coupon import Coupon, CouponPlan, Readings, design_coupon, measuring_page_html
from shrinkrule.coupon.worth import LENGTH_SD_MM
from shrinkrule.furnace import parse_box
from shrinkrule.printer import Printer
from shrinkrule.sheet import Kind

PLAN = CouponPlan(Printer.from_nozzle(0.6), parse_box("80x60x50"), readings=Readings.FEW)
SIDES = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.STEP: 0.0}


@pytest.fixture(scope="module")
def few() -> Coupon:
    return design_coupon(PLAN)


@pytest.fixture(scope="module")
def long() -> Coupon:
    return design_coupon(replace(PLAN, readings=Readings.ALL))


def test_three_lengths_an_axis_a_weight_and_a_drop(few: Coupon, long: Coupon) -> None:
    read = [line for line in few.lines if line.kind is not Kind.SETTING]
    assert len(read) == 11
    for axis in "xyz":
        kinds = [SIDES[line.kind] for line in read if line.axis == axis]
        assert len(kinds) == 3
        assert len(set(kinds)) == 2
    assert [line.kind for line in read if not line.axis] == [Kind.MASS, Kind.BRIDGE]
    # A line means the same on either coupon.
    assert {line.id for line in read} < {line.id for line in long.lines}


def test_the_page_speaks_of_nothing_that_is_not_there(few: Coupon) -> None:
    page = measuring_page_html(few)
    assert "Turn the bar up" in page
    wrong = (
        "hung in water",
        "hung weight",
        "ladder",
        "four bars",
        "lets light through",
        "and steps",
    )
    assert [word for word in wrong if word in page] == []
    assert all(f'id="row-{line.id}"' in page for line in few.lines)


def test_the_bead_is_as_unsure_as_fits_of_drawn_lengths_scatter(few: Coupon) -> None:
    """Least squares of scales, bead and first layer on 4000 drawn coupons; Student for 4 of 9."""
    lines = [line for line in few.lines if line.kind in SIDES]
    assert len(lines) == 9
    design = np.array(
        [
            [
                *(float(line.nominal or 0.0) * (line.axis == axis) for axis in "xyz"),
                2.0 * SIDES[line.kind] * (line.axis != "z"),
                float(line.axis == "z" and line.kind is Kind.OUTSIDE),
            ]
            for line in lines
        ]
    )
    drawn = np.random.default_rng(4).normal(0.0, LENGTH_SD_MM, (len(lines), 4000))
    found = np.linalg.lstsq(design, drawn, rcond=None)[0]
    student = stats.t.ppf(0.975, 4)
    # Four thousand draws know a standard deviation to 1.1 %.
    assert few.worth.bead_mm == pytest.approx(student * found[3].std(), rel=0.04)
    assert few.worth.first_layer_mm == pytest.approx(student * found[4].std(), rel=0.04)
    assert few.worth.length_mm > 0.0


def test_what_the_long_one_adds_is_told_first_in_millimetres(
    long: Coupon, few: Coupon, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["coupon", "--box", "80x60x50", "--few-readings", "--out", str(tmp_path)]
    assert main(command) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.startswith("- This coupon cannot know: the thinnest wall")
    assert f"by {few.worth.height_mm:.2f}" in said
    assert f"would leave {long.worth.length_mm:.2f}, {long.worth.height_mm:.2f}" in said
    for name in ("length_mm", "height_mm", "bead_mm", "first_layer_mm"):
        assert getattr(few.worth, name) > 1.3 * getattr(long.worth, name)
    for name in ("rows", "print_minutes", "measure_minutes", "grams"):
        assert getattr(few.worth, name) < 0.6 * getattr(long.worth, name)
    assert "minutes to print, a firing, and" in said


def test_its_sheet_is_fitted(
    few: Coupon, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Shrinkage 15 %, bead 0.05 mm, first layer -0.03 mm and a modulus of 600 kPa come back."""
    assert main(["coupon", "--box", "80x60x50", "--few-readings", "--out", str(tmp_path)]) == 0
    blank = (tmp_path / "coupon.sheet.csv").read_text(encoding="utf-8-sig")
    rows, kept = list(csv.DictReader(io.StringIO(blank, newline=""))), 0.85
    told = {"S1": "1", "S2": "1", "S4": "bronze", "S6": "8.8", "S10": "0.01"}
    for row, line in zip(rows, few.lines, strict=True):
        size = float(row["nominal"] or 0.0) if line.kind is not Kind.SETTING else 0.0
        if line.kind in SIDES:
            green = size + SIDES[line.kind] * (-0.03 if line.axis == "z" else 0.1)
            row["green_1"], row["fired_1"] = f"{green:.4f}", f"{kept * green:.4f}"
        elif line.kind is Kind.MASS:
            row["green_1"], row["fired_1"] = "25.00", "22.50"
        elif line.kind is Kind.BRIDGE:
            density = 22.5e3 / _volume(few) / kept**3
            span, depth = kept * (size - 0.1), kept * (float(row["thickness"]) + 0.1)
            # kPa/mm of 1 g/cm3; ends built in: rho g L^4 / (32 E h^2).
            drop = 9.80665e-3 * density * span**4 / (32.0 * 600.0 * depth**2)
            row["fired_1"] = f"{drop:.4f}"
        row["nominal"] = told.get(line.id, row["nominal"])
    sheet = tmp_path / "filled.csv"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    capsys.readouterr()
    assert main(["calibrate", str(sheet), "--json", "--out", str(tmp_path)]) == 0
    fit = json.loads(capsys.readouterr().out)["row"]
    assert fit["shrinkage_xy"]["value"] == pytest.approx(0.15, abs=1e-4)
    assert fit["shrinkage_z"]["value"] == pytest.approx(0.15, abs=1e-4)
    assert fit["bead_offset_mm"]["value"] == pytest.approx(0.05, abs=1e-3)
    assert fit["first_layer_mm"]["value"] == pytest.approx(-0.03, abs=2e-3)
    assert fit["sag_modulus_kpa"]["value"] == pytest.approx(600.0, rel=0.02)


def _volume(few: Coupon) -> float:
    """Green volume of the block, mm3: the model's, wider by the bead and flatter in the mean."""
    facts = {line.id: float(line.nominal or 0.0) for line in few.lines if line.id in {"S16", "S17"}}
    return facts["S16"] + 0.05 * facts["S17"]
