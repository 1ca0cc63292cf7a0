"""Lines of one coupon and of two axes, and what is judged at a limit itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from make_sheets import Truth, filled_sheets

from shrinkrule.calibration.fit.axis import fit_axis, mean_of_axes
from shrinkrule.calibration.fit.balance import Weights, _solid, weigh
from shrinkrule.calibration.fit.fit_sheets import fit_sheets
from shrinkrule.calibration.fit.lengths import LEAST_RANGE, caliper_of, lengths_along
from shrinkrule.calibration.fit.to_row import row_from_fit
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.calibration.table.row import Axis
from shrinkrule.errors import SheetError
from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.metal_balance import TOO_FAR

GREEN = np.array([[8.0, 15.0, 22.0, 40.0, 55.0]])
STRAY = np.array([[0.02, -0.03, 0.01, 0.03, -0.02]])
LENGTHS = np.array([0.0, 10.0, 40.0, 90.0])


def test_one_coupon_s_mean_is_as_unsure_as_the_textbook_says() -> None:
    """Of a line through the origin s x / sqrt(sum x^2), of one with an intercept
    s sqrt(1/n + (x - mean)^2 / Sxx) (Draper and Smith, Applied Regression Analysis)."""
    (green,), fired = GREEN, 0.85 * GREEN + STRAY
    slope = float((green * fired[0]).sum() / (green**2).sum())
    sd = np.sqrt(((fired[0] - slope * green) ** 2).sum() / 4.0)
    ray = fit_axis(GREEN, fired, np.array([1]), bent=np.array(False))
    assert [float(ray.mean_u_mm(x)) for x in LENGTHS] == pytest.approx(
        sd * LENGTHS / np.sqrt((green**2).sum())
    )
    sd = np.sqrt(((fired[0] - np.polyval(np.polyfit(green, fired[0], 1), green)) ** 2).sum() / 3.0)
    spread = 1.0 / 5.0 + (LENGTHS - green.mean()) ** 2 / ((green - green.mean()) ** 2).sum()
    line = fit_axis(GREEN, fired, np.array([1]), bent=np.array(True))
    assert [float(line.mean_u_mm(x)) for x in LENGTHS] == pytest.approx(sd * np.sqrt(spread))


@pytest.mark.parametrize("bent", [False, True])
def test_the_middle_of_two_lines_varies_as_a_mean_of_two(bent: bool) -> None:
    """Half as much as one of two alike, and a quarter of the sum of two that differ."""
    keep = np.array(bent)
    first = fit_axis(GREEN, 0.85 * GREEN + STRAY, np.array([1]), bent=keep)
    alike = fit_axis(GREEN, 0.84 * GREEN - STRAY, np.array([1]), bent=keep)
    half = mean_of_axes(first, alike)
    other = fit_axis(1.5 * GREEN + 3.0, 1.28 * GREEN + STRAY, np.array([1]), bent=keep)
    middle = mean_of_axes(first, other)
    for x in LENGTHS:
        one = first.lines.unit_variance_at(x)
        assert half.lines.unit_variance_at(x) == pytest.approx(0.5 * one)
        both = one + other.lines.unit_variance_at(x)
        assert middle.lines.unit_variance_at(x) == pytest.approx(0.25 * both)


def test_the_middle_s_length_lies_halfway() -> None:
    """Sum of squares over sum of lengths: 8.5 mm along one axis, 51 mm along the other."""
    short, long = np.array([[5.0, 8.0, 10.0]]), np.array([[30.0, 48.0, 60.0]])
    first = fit_axis(short, 0.85 * short, np.array([1]), bent=np.array(False))
    second = fit_axis(long, 0.85 * long, np.array([1]), bent=np.array(False))
    at = [(each**2).sum() / each.sum() for each in (short, long)]
    assert [first.centre_mm, second.centre_mm] == pytest.approx(at)
    assert mean_of_axes(first, second).centre_mm == pytest.approx(np.mean(at))


def test_a_density_at_the_limit_is_judged_and_said_alike() -> None:
    """As far over solid metal as may be is possible, in words and in the judgement."""
    at_limit = _solid(Estimate(1.0 + 0.25 * TOO_FAR, 0.25))
    beyond = _solid(Estimate(1.0 + 0.26 * TOO_FAR, 0.25))
    assert at_limit is not None
    assert beyond is not None
    assert at_limit.sigmas == TOO_FAR
    assert (at_limit.good, "wrong" in at_limit.text) == (True, False)
    assert (beyond.good, "wrong" in beyond.text) == (False, True)


def test_a_piece_as_heavy_in_water_as_in_air_has_no_density_by_water() -> None:
    """It would displace nothing: the same weight was written twice."""
    known = Weights(
        green_g=27.0,
        debound_g=None,
        fired_g=24.0,
        in_water_g=24.0,
        resolution_g=0.01,
        green_volume=Estimate(5000.0, 25.0),
        kept_volume=Estimate(0.61, 0.001),
        metal_density=8.80,
        binder_density=1.24,
        metal_mass_share=0.90,
        water_density=None,
    )
    balance = weigh(known)
    assert balance.archimedes_density is None
    assert balance.density == balance.geometric_density


def sheets(folder: Path, truth: Truth, coupons: tuple[int, ...]) -> tuple[Sheet, ...]:
    found = []
    for (firing, coupon), text in filled_sheets(truth, coupons, 3).items():
        path = folder / f"firing{firing}_coupon{coupon}.csv"
        path.write_text(text, encoding="utf-8", newline="")
        found.append(read_sheet(path))
    return tuple(found)


def test_lengths_of_just_the_least_range_are_taken(tmp_path: Path) -> None:
    (sheet,) = sheets(tmp_path, Truth(), (1,))
    along = [r.id for r in sheet.readings if r.is_length and r.axis == "x"]

    def longest(green_mm: float) -> Sheet:
        sizes = {name: green_mm if name == along[0] else 16.0 for name in along}
        return replace(
            sheet,
            readings=tuple(
                replace(r, green=(sizes[r.id],)) if r.id in sizes else r for r in sheet.readings
            ),
        )

    assert lengths_along((longest(16.0 * LEAST_RANGE),), "x").longest_mm == 16.0 * LEAST_RANGE
    with pytest.raises(SheetError, match="along X"):
        lengths_along((longest(16.0 * LEAST_RANGE - 0.01),), "x")


def test_each_axis_of_the_row_has_the_printer_s_scale_of_that_axis(tmp_path: Path) -> None:
    """All green lengths along X 1 % long, along Z 1 % short: the row's scales differ so."""
    read = sheets(tmp_path, Truth(), (1, 1))
    share = {"x": 1.01, "y": 1.0, "z": 0.99}
    drawn = tuple(
        replace(
            sheet,
            readings=tuple(
                replace(r, green=tuple(share[r.axis] * each for each in r.green))
                if r.is_length
                else r
                for r in sheet.readings
            ),
        )
        for sheet in read
    )
    rows = [row_from_fit(fit_sheets(each), "bronze 1") for each in (read, drawn)]
    axes: tuple[Axis, ...] = ("x", "y", "z")
    for axis in axes:
        factor = share[axis]
        plain, changed = (row.along(axis).print_scale for row in rows)
        assert plain is not None
        assert changed is not None
        # Bead spread and first layer are fitted with it and take up a little.
        moved = changed.value - plain.value
        assert moved == pytest.approx(factor - 1.0, abs=3e-3)


def test_without_repeats_a_caliper_is_as_unsure_as_its_limits_of_error() -> None:
    """A step of d and limits of 2 d, both rectangles: d^2 / 12 + (2 d)^2 / 3 (JCGM 100, 4.3.7)."""
    sheet = read_sheet(
        sorted((Path(__file__).parents[3] / "sample_models/sheets").glob("*.csv"))[0]
    )
    once = tuple(replace(one, green=one.green[:1], fired=one.fired[:1]) for one in sheet.readings)
    found = caliper_of([replace(sheet, readings=once)])
    assert sheet.settings.caliper_resolution == 0.01
    assert found.repeats_sd_mm is None
    assert found.least_variance == pytest.approx(1e-4 / 12.0 + 4e-4 / 3.0)
    again = caliper_of([sheet])
    assert again.least_variance < found.least_variance, "repeats tell more than a data sheet"


def test_of_four_coupons_one_that_shrank_otherwise_is_named() -> None:
    """Four are the fewest of which one can be held against the others."""
    paths = sorted((Path(__file__).parents[3] / "sample_models/sheets").glob("*.csv"))
    sheets = [read_sheet(path) for path in paths]
    less = [
        replace(one, fired=tuple(1.02 * x for x in one.fired)) if one.is_length else one
        for one in sheets[2].readings
    ]
    odd = [*sheets[:2], replace(sheets[2], readings=tuple(less)), *sheets[3:]]

    def named(some: list[Sheet]) -> list[str]:
        return [note.text for note in fit_sheets(some).notes if "coupon 3" in note.text]

    assert not named(sheets)
    assert named(odd)
    assert not named(odd[:3]), "of three, none is judged"
