"""The whole fit on invented coupons of which the truth is known."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from make_sheets import Truth, filled_sheets

from shrinkrule.calibration import Axis, check_balance
from shrinkrule.calibration.fit.fit_sheets import fit_sheets
from shrinkrule.calibration.fit.result import FitResult, NoteWeight
from shrinkrule.calibration.fit.sentences import next_part, plain_sentences
from shrinkrule.calibration.fit.to_row import row_from_fit
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.errors import SheetError

TRUTH = Truth()


@pytest.fixture
def fitted(tmp_path: Path) -> FitResult:
    return fit_sheets(sheets(tmp_path, TRUTH, (2, 1, 1)))


def sheets(
    folder: Path, truth: Truth, coupons: tuple[int, ...], seed: int = 3
) -> tuple[Sheet, ...]:
    read = []
    for (firing, coupon), text in filled_sheets(truth, coupons, seed).items():
        path = folder / f"firing{firing}_coupon{coupon}.csv"
        path.write_text(text, encoding="utf-8", newline="")
        read.append(read_sheet(path))
    return tuple(read)


def said(fit: FitResult, weight: NoteWeight) -> str:
    return "\n".join(note.text for note in fit.notes if note.weight is weight)


def test_truth_lies_in_what_the_fit_tells(fitted: FitResult) -> None:
    """Within three standard uncertainties, each of them."""
    for axis, true in ((fitted.xy, TRUTH.shrinkage_x), (fitted.z, TRUTH.shrinkage_z)):
        found = axis.shrinkage
        # Three firings know their scatter badly: 0.0012 / sqrt(3) is the true uncertainty.
        assert found.value == pytest.approx(true, abs=3.0 * 0.0012 / 3**0.5)
    bead = fitted.printing.bead
    assert float(bead.value) == pytest.approx(TRUTH.bead_mm, abs=3.0 * float(bead.u))
    assert fitted.caliper.repeats_sd_mm == pytest.approx(TRUTH.caliper_sd_mm, rel=0.15)
    assert fitted.metal_fraction is not None
    filament = 0.559118 * (1.0 - TRUTH.print_voids)
    assert fitted.metal_fraction.value == pytest.approx(filament, abs=3.0 * fitted.metal_fraction.u)
    assert fitted.sag is not None
    assert fitted.sag.modulus_kpa == pytest.approx(900.0, abs=3.0 * fitted.sag.next_u_kpa + 30.0)
    assert fitted.walls is not None
    assert fitted.walls.thinnest_mm == pytest.approx(0.83)
    assert fitted.knows_firings


def test_a_sound_set_has_nothing_wrong(fitted: FitResult) -> None:
    assert said(fitted, NoteWeight.WRONG) == ""
    assert not fitted.axes_differ
    assert not bool(fitted.xy.fit.has_intercept)


def test_the_row_holds_the_fit_and_closes_its_balance(fitted: FitResult) -> None:
    row = row_from_fit(fitted, "bronze 1")
    assert row.material == "bronze demo batch"
    assert row.date == "2026-11-03"
    assert (row.coupons, row.firings, row.firing_scatter_known) == (4, 3, True)
    assert row.shrinkage_xy.value == pytest.approx(fitted.xy.shrinkage.value)
    assert row.longest_xy_mm == pytest.approx(42.0, abs=0.2)
    balance = check_balance(row)
    assert balance is not None
    assert balance.warning == ""


def test_a_z_that_shrinks_more_the_taller_it_is_keeps_its_intercept(tmp_path: Path) -> None:
    truth = replace(TRUTH, intercept_z_mm=0.12)
    fit = fit_sheets(sheets(tmp_path, truth, (2, 2, 2)))
    assert bool(fit.z.fit.has_intercept)
    assert not bool(fit.xy.fit.has_intercept)
    assert "long parts shrink more" in said(fit, NoteWeight.LOOK)
    row = row_from_fit(fit, "bronze 1")
    assert row.length_effect_z is not None
    effect = row.length_effect_z.intercept_mm
    assert effect.value == pytest.approx(0.12, abs=3.0 * effect.u)
    for fired in (5.0, 20.0, 30.0):
        part = row.at_lengths(20.0, fired)
        green = fired / (1.0 - part.shrinkage_z.value)
        assert green == pytest.approx(float(fit.z.fit.green_mm(fired)), rel=1e-6)
        assert part.length_effect_z is not None
        assert part.length_effect_z.centre_mm == pytest.approx(green)
        same = row.along("z").fired_mm(11.0)
        assert part.along("z").fired_mm(11.0) == pytest.approx(same)
    assert (
        row.at_lengths(20.0, 5.0).shrinkage_z.value < row.at_lengths(20.0, 30.0).shrinkage_z.value
    )


def test_x_and_y_that_differ_are_both_kept(tmp_path: Path) -> None:
    truth = replace(TRUTH, shrinkage_y=0.1535)
    fit = fit_sheets(sheets(tmp_path, truth, (1, 1, 1)))
    assert fit.axes_differ
    assert float(fit.xy_difference.value) == pytest.approx(0.008, abs=0.0015)
    assert "they differ" in said(fit, NoteWeight.LOOK)
    row = row_from_fit(fit, "bronze 1")
    assert row.shrinkage_x is not None
    assert row.shrinkage_y is not None
    x, y = row.shrinkage_x.value, row.shrinkage_y.value
    assert y - x == pytest.approx(0.008, abs=0.0015)
    assert row.shrinkage_xy.value == pytest.approx(0.5 * (x + y), abs=2e-4)
    assert row.shrinkage_xy.u >= 0.003, "it holds half of their distance"
    alike = row_from_fit(fit_sheets(sheets(tmp_path, TRUTH, (1, 1, 1))), "bronze 1")
    axes: tuple[Axis, ...] = ("x", "y")
    for axis in axes:
        # The same coupons but for Y's shrinkage: each is as sure as if the other were alike.
        half, as_alike = row.promise(axis, 40.0).half95, alike.promise(axis, 40.0).half95
        assert half == pytest.approx(as_alike, rel=0.05)


def test_a_slip_is_named_and_kept_until_left_out(tmp_path: Path) -> None:
    made = sheets(tmp_path, TRUTH, (1, 1, 1))
    slipped = made[1]
    readings = tuple(
        replace(r, fired=tuple(v + 0.4 for v in r.fired)) if r.id == "X2" else r
        for r in slipped.readings
    )
    made = (made[0], replace(slipped, readings=readings), made[2])
    fit = fit_sheets(made)
    assert [outlier.id for outlier in fit.outliers] == ["X2"]
    assert fit.outliers[0].where == slipped.where
    assert fit.outliers[0].residual_mm == pytest.approx(0.4, abs=0.1)
    assert "it is in the fit" in said(fit, NoteWeight.LOOK)
    without = fit_sheets(made, ["2:X2"])
    assert without.outliers == ()
    assert "left out as asked: 2:X2" in said(without, NoteWeight.LOOK)
    assert np.count_nonzero(without.x.lengths.weight) == np.count_nonzero(fit.x.lengths.weight) - 1


def test_weights_that_are_exchanged_are_convicted(tmp_path: Path) -> None:
    (made,) = sheets(tmp_path, TRUTH, (1,))
    readings = tuple(
        replace(r, green=(30.0,), fired=(28.9,), debound=None) if r.id == "M1" else r
        for r in made.readings
    )
    fit = fit_sheets((replace(made, readings=readings),))
    assert "residue or oxide" in said(fit, NoteWeight.WRONG)


def test_a_printer_out_of_scale_is_told(tmp_path: Path) -> None:
    fit = fit_sheets(sheets(tmp_path, replace(TRUTH, print_scale=0.006), (1, 1, 1)))
    assert "made for this printer as it is" in said(fit, NoteWeight.LOOK)
    row = row_from_fit(fit, "bronze 1")
    for scale in (row.print_scale_x, row.print_scale_y, row.print_scale_z):
        assert scale is not None
        assert scale.value == pytest.approx(0.006, abs=4.0 * scale.u)
    along = row.along("x")
    assert along.factor * along.printed * (1.0 - along.shrinkage.value) == pytest.approx(1.0)
    corrected = row.on_a_true_printer()
    assert corrected.along("x").factor == pytest.approx(along.factor * 1.006, rel=4e-3)
    assert corrected.promise("x", 40.0) == row.promise("x", 40.0)


def test_broken_beams_are_refused_by_name(tmp_path: Path) -> None:
    (made,) = sheets(tmp_path, TRUTH, (1,))
    readings = tuple(
        replace(r, fired=(), remark="broken") if r.id == "B3" else r for r in made.readings
    )
    fit = fit_sheets((replace(made, readings=readings),))
    assert fit.sag is not None
    assert {beam.id for beam in fit.sag.used} == {"B1", "B2", "B4", "C1"}
    assert "beam B3 of coupon 1 is refused: broken" in said(fit, NoteWeight.LOOK)


def test_the_plain_sentence(fitted: FitResult) -> None:
    sentence = next_part(fitted, ("x", "y"))
    match = re.fullmatch(
        r"Your next 40 mm will come out 40\.00 ± (0\.\d\d) mm along X, ± 0\.\d\d along Y \(95 %\); "
        r"measuring two more coupons would make that (0\.\d\d)\.",
        sentence,
    )
    assert match, sentence
    assert float(match[2]) < float(match[1])
    assert "mm along Z" in plain_sentences(fitted)[1]


def test_one_firing_promises_nothing(tmp_path: Path) -> None:
    fit = fit_sheets(sheets(tmp_path, TRUTH, (2,)))
    assert not fit.knows_firings
    (sentence,) = plain_sentences(fit)
    assert sentence.startswith("Along X, Y and Z a scale is known")
    assert "one firing does not show" in sentence
    assert "±" not in sentence
    assert "95 %" not in sentence
    assert "no interval can be given" in said(fit, NoteWeight.LOOK)
    row = row_from_fit(fit, "bronze 1")
    assert not row.firing_scatter_known
    assert row.promise("x", 40.0).half95 is None


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"firing": ""}, "S2"),
        ({"firing": "1", "coupon": "1"}, "already"),
        ({"material": "steel"}, "different material"),
    ],
)
def test_sheets_that_do_not_belong_together_are_refused(
    change: dict[str, str], message: str, tmp_path: Path
) -> None:
    first, second = sheets(tmp_path, TRUTH, (1, 1))
    settings = replace(
        second.settings,
        firing=change.get("firing", second.settings.firing),
        coupon=change.get("coupon", second.settings.coupon),
        material=change.get("material", second.settings.material),
    )
    with pytest.raises(SheetError, match=message):
        fit_sheets((first, replace(second, settings=settings)))


def test_too_few_lengths_are_refused(tmp_path: Path) -> None:
    (made,) = sheets(tmp_path, TRUTH, (1,))
    few = tuple(r for r in made.readings if r.axis != "z" or r.id in {"Z1", "Z6"})
    with pytest.raises(SheetError, match="3 lengths are needed along Z; 2 are"):
        fit_sheets((replace(made, readings=few),))


def test_steps_alone_and_lengths_of_one_size_are_refused(tmp_path: Path) -> None:
    (made,) = sheets(tmp_path, TRUTH, (1,))
    steps = tuple(r for r in made.readings if r.axis != "x" or r.id in {"X8", "X9", "X10"})
    with pytest.raises(SheetError, match="only steps"):
        fit_sheets((replace(made, readings=steps),))
    alike = tuple(r for r in made.readings if r.axis != "x" or r.id in {"X4", "X6", "X7", "X10"})
    with pytest.raises(SheetError, match=r"all between 7\.9 and 8\.4 mm"):
        fit_sheets((replace(made, readings=alike),))


def test_what_is_on_no_sheet_cannot_be_left_out(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="X99 is on no sheet"):
        fit_sheets(sheets(tmp_path, TRUTH, (1,)), ["X99"])


def test_no_sheet_is_refused() -> None:
    with pytest.raises(SheetError, match="no sheet"):
        fit_sheets(())
