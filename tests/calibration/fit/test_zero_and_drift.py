"""Causes told apart on invented coupons: the caliper's zero, an axis, the bead, a drift, a slip."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from make_sheets import SIDE, Truth, filled_sheets

from shrinkrule.calibration import FitResult, fit_sheets, read_sheet
from shrinkrule.calibration.fit.lengths import Lengths, firing_order
from shrinkrule.calibration.fit.printing import fit_printing
from shrinkrule.calibration.fit.result import NoteWeight
from shrinkrule.calibration.fit.zero import axes_or_zero
from shrinkrule.calibration.sheets.sheet import Reading, Sheet
from shrinkrule.errors import SheetError
from shrinkrule.sheet import Kind


def workshop(folder: Path, coupons: tuple[int, ...], seed: int = 1, **truth: float) -> list[Sheet]:
    read = []
    for (firing, coupon), text in filled_sheets(Truth(**truth), coupons, seed).items():  # type: ignore[arg-type]
        path = folder / f"firing{firing}_coupon{coupon}.csv"
        path.write_text(text, encoding="utf-8", newline="")
        read.append(read_sheet(path))
    return read


def lengths_as(
    sheet: Sheet, green: float = 0.0, fired: float = 0.0, times: dict[str, float] | None = None
) -> Sheet:
    """The sheet with so much added to every length, or its fired lengths multiplied by axis."""

    def other(r: Reading) -> Reading:
        if r.kind not in SIDE:
            return r
        factor = (times or {}).get(r.axis, 1.0)
        return replace(
            r,
            green=tuple(value + green for value in r.green),
            fired=tuple(factor * value + fired for value in r.fired),
        )

    return replace(sheet, readings=tuple(map(other, sheet.readings)))


def only(sheet: Sheet, *kinds: Kind) -> Sheet:
    return replace(
        sheet, readings=tuple(r for r in sheet.readings if r.kind not in SIDE or r.kind in kinds)
    )


def said(fit: FitResult) -> str:
    return "\n".join(note.text for note in fit.notes if note.weight is not NoteWeight.FACT)


@pytest.mark.parametrize("zero", [0.06, -0.1, 0.3])
def test_a_zero_of_the_caliper_changes_nothing_but_its_note(zero: float, tmp_path: Path) -> None:
    """The invented caliper reads so much more of every length, green and fired."""
    right = workshop(tmp_path, (1, 1, 1))
    fit, usual = fit_sheets([lengths_as(s, zero, zero) for s in right]), fit_sheets(right)
    assert fit.zero_taken_off is not None
    assert fit.zero_taken_off.value == pytest.approx(zero, abs=3.0 * fit.zero_taken_off.u)
    assert usual.zero_taken_off is None
    for found, expected in zip((fit.x, fit.y, fit.z), (usual.x, usual.y, usual.z), strict=True):
        # What is left of the zero, 0.01 mm at most, is a sixth of it in shrinkage at 23 mm.
        assert found.shrinkage.value == pytest.approx(expected.shrinkage.value, abs=1e-4)
    assert fit.printing.bead.value == pytest.approx(usual.printing.bead.value, abs=1e-6)
    assert f"reads {fit.zero_taken_off.value:+.3f}" in said(fit)
    assert "misses the origin" not in said(fit)


def test_an_error_of_the_axes_is_not_taken_for_a_zero(tmp_path: Path) -> None:
    fit = fit_sheets(workshop(tmp_path, (1, 1, 1), print_scale=0.006))
    assert fit.zero_taken_off is None
    for scale in fit.printing.scales:
        assert scale.value == pytest.approx(0.006, abs=3.0 * scale.u)
    assert "off the model: green parts are made for this printer" in said(fit)


@pytest.mark.parametrize(("green", "fired"), [(0.2, 0.0), (0.2, -0.2)])
def test_a_zero_of_one_stage_alone_stays(green: float, fired: float, tmp_path: Path) -> None:
    fit = fit_sheets([lengths_as(s, green, fired) for s in workshop(tmp_path, (1, 1, 1))])
    assert fit.zero_taken_off is None
    assert "every green length reads +0.2" in said(fit)


def test_spread_and_zero_are_both_named_where_outside_lengths_alone_are_read(
    tmp_path: Path,
) -> None:
    """2 b + z is one number there: 0.04 and 0.10 look like a spread of 0.09."""
    sheets = [lengths_as(s, 0.1, 0.1) for s in workshop(tmp_path, (1, 1, 1))]
    fit = fit_sheets([only(s, Kind.OUTSIDE) for s in sheets])
    assert fit.printing.zero is None
    assert fit.printing.bead.value == pytest.approx(0.09, abs=0.01)
    assert "these readings cannot tell which; measure the slots and steps" in said(fit)
    assert "cannot tell which" not in said(fit_sheets(sheets))


def long_lengths(seed: int, zero: float, shortest: float) -> tuple[Lengths, Lengths, Lengths]:
    """Three axes of one coupon, lengths from ``shortest`` to 42 mm, print 0.02 mm, as arrays."""
    rng = np.random.default_rng(seed)
    model = np.linspace(shortest, 42.0, 6)[None]
    side = np.array([[1.0, -1.0, 1.0, -1.0, 1.0, 0.0]])
    one = np.ones_like(model)

    def axis(spread: float) -> Lengths:
        green = model + spread * side + zero + rng.normal(0.0, 0.02, model.shape)
        return Lengths((), model, model, green, 0.85 * green, side, 0.0 * one, one)

    return axis(0.08), axis(0.08), axis(0.0)


@pytest.mark.parametrize(("shortest", "both"), [(30.0, True), (3.0, False)])
def test_an_axis_error_that_may_be_a_zero_is_named_as_both(shortest: float, both: bool) -> None:
    """0.07 mm on lengths between 30 and 42 mm is 0.2 % as well; on 3 mm it would be 2 %."""
    axes = long_lengths(3, 0.07, shortest)
    free, bound = fit_printing(axes), fit_printing(axes, zero_is_right=True)
    assert axes_or_zero(free, bound) == (("X", "Y", "Z") if both else ())
    nothing = long_lengths(3, 0.0, shortest)
    free, bound = fit_printing(nothing), fit_printing(nothing, zero_is_right=True)
    assert axes_or_zero(free, bound) == ()


def test_innocent_readings_are_not_named_where_each_axis_scatters_on_its_own(
    tmp_path: Path,
) -> None:
    """Twenty campaigns of five coupons, each axis 0.2 % of its own: once 0.4 to 0.7 a campaign.

    Chance names one in a hundred for each of three axes; six in twenty campaigns is a chance
    of one in ten thousand.
    """
    rng = np.random.default_rng(5)
    named = 0
    for seed in range(20):
        sheets = workshop(tmp_path, (1,) * 5, seed)
        own = [dict(zip("xyz", 1.0 + rng.normal(0.0, 0.002, 3), strict=True)) for _ in sheets]
        fit = fit_sheets([lengths_as(s, times=t) for s, t in zip(sheets, own, strict=True)])
        named += len(fit.outliers)
    assert named <= 5


def drifting(sheets: list[Sheet], step: float) -> list[Sheet]:
    kept = [1.0 - step * number for number in range(len(sheets))]
    return [lengths_as(s, times=dict.fromkeys("xyz", k)) for s, k in zip(sheets, kept, strict=True)]


def test_a_drift_is_named_from_five_firings_on_and_never_carried_on(tmp_path: Path) -> None:
    """Each firing leaves 0.3 % less than the one before: 0.25 points of shrinkage, green size."""
    sheets = drifting(workshop(tmp_path, (1,) * 6, firing_sd=0.0003), 0.003)
    fit = fit_sheets(sheets)
    for name, axis in (("XY", fit.xy), ("Z", fit.z)):
        drift = fit.drifts[name].per_firing
        assert drift.value == pytest.approx(0.0025, abs=3.0 * drift.u)
        middle = 1.0 - axis.fit.lines.at(axis.fit.centre_mm) / axis.fit.centre_mm
        assert axis.shrinkage.value == pytest.approx(float(middle.mean()), abs=1e-9)
    assert "points (95 %) from each firing to the next, over 6 firings" in said(fit)
    assert not fit_sheets(sheets[:4]).drifts


def test_firings_that_only_scatter_show_no_drift(tmp_path: Path) -> None:
    """One in a hundred does by chance, for each of two axes."""
    found = [fit_sheets(workshop(tmp_path, (1,) * 6, seed)).drifts for seed in range(8)]
    assert sum(map(bool, found)) <= 1


def test_firings_stand_in_the_order_of_their_dates_or_else_their_numbers(tmp_path: Path) -> None:
    sheets = workshop(tmp_path, (1, 1, 1))

    def order(dates: tuple[str, ...], names: tuple[str, ...]) -> list[float] | None:
        dated = tuple(
            replace(s, settings=replace(s.settings, date=d))
            for s, d in zip(sheets, dates, strict=True)
        )
        found = firing_order(dated, names, np.arange(3))
        return None if found is None else found.tolist()

    assert order(("2026-03-02", "2025-12-24", "2026-02-01"), ("1", "2", "3")) == [2.0, 0.0, 1.0]
    assert order(("", "", ""), ("10", "9", "2")) == [2.0, 1.0, 0.0]
    assert order(("", "", ""), ("a", "b", "c")) is None


def test_lengths_of_nearly_one_size_are_refused_with_their_sizes(tmp_path: Path) -> None:
    (sheet,) = workshop(tmp_path, (1,))
    near = replace(
        sheet,
        readings=tuple(
            r for r in sheet.readings if r.axis != "x" or r.id in {"X4", "X6", "X7", "X10"}
        ),
    )
    with pytest.raises(SheetError, match=r"lengths along X are all between 8\.0 and 8\.5 mm"):
        fit_sheets([near])
