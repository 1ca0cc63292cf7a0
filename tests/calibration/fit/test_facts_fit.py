"""What a fit promises: degrees of freedom, the next firing's modulus, lengths that are stated."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from make_sheets import Truth, filled_sheets
from scipy import stats

from shrinkrule.calibration.fit.fit_sheets import fit_sheets
from shrinkrule.calibration.fit.result import FitResult
from shrinkrule.calibration.fit.sag import Beam, fit_sag, fitted_powers
from shrinkrule.calibration.fit.to_row import row_from_fit
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.sheets.sheet import LENGTH_KINDS, Sheet
from shrinkrule.calibration.statistics.firings import firing_scatter
from shrinkrule.cli import main
from shrinkrule.physics.beam import Support, beam_drop_mm
from shrinkrule.units import rounded_up

SHEETS = sorted((Path(__file__).parents[3] / "sample_models" / "sheets").glob("*.csv"))


def fitted(folder: Path, truth: Truth, coupons: tuple[int, ...]) -> FitResult:
    read = []
    for (firing, coupon), text in filled_sheets(truth, coupons, 3).items():
        path = folder / f"firing{firing}_coupon{coupon}.csv"
        path.write_text(text, encoding="utf-8", newline="")
        read.append(read_sheet(path))
    return fit_sheets(tuple(read))


def test_the_row_is_no_surer_than_its_less_sure_axis(tmp_path: Path) -> None:
    """One number of degrees of freedom serves both axes: the factor is the larger of the two."""
    fit = fitted(tmp_path, Truth(), (2, 1, 1))
    factors = [stats.t.ppf(0.975, axis.scatter.equivalent_dof) for axis in (fit.xy, fit.z)]
    assert max(factors) > 1.005 * min(factors), "the axes must differ for this to be a test"
    row = row_from_fit(fit, "bronze 1")
    assert row.coverage_factor == pytest.approx(max(factors), rel=1e-6)


@pytest.mark.parametrize("spread", [0.05, 0.2])
def test_the_next_firing_s_modulus_is_as_unsure_as_the_textbook_says(spread: float) -> None:
    """Moduli m e^-d, m, m e^d: d is their standard deviation in logarithms, d / sqrt 3 that of
    the mean, and one more firing lies d sqrt(4/3) about it."""
    beams = [
        Beam(
            id=f"B{firing}",
            coupon=firing,
            support=Support.BOTH_BUILT_IN,
            span_mm=27.0,
            depth_mm=1.8,
            drop_mm=beam_drop_mm(Support.BOTH_BUILT_IN, 27.0, 1.8, 700.0 * np.exp(off), 7.9),
            drop_u_mm=1e-6,
            depth_u_mm=1e-6,
            density_g_cm3=7.9,
        )
        for firing, off in enumerate((-spread, 0.0, spread))
    ]
    fit = fit_sag(tuple(beams), np.arange(3))
    assert fit is not None
    assert fit.modulus_kpa == pytest.approx(700.0, rel=1e-9)
    assert fit.mean_u_kpa == pytest.approx(700.0 * spread / 3**0.5, rel=1e-6)
    assert fit.next_u_kpa == pytest.approx(700.0 * spread * (4.0 / 3.0) ** 0.5, rel=1e-6)


def test_one_beam_is_as_unsure_as_its_readings() -> None:
    """Modulus goes as 1 / (drop depth^2): 3 % of drop and 2 % of depth are 5 % of modulus."""
    drop = beam_drop_mm(Support.ONE_BUILT_IN, 11.0, 1.8, 500.0, 7.9)
    beam = Beam("C1", 0, Support.ONE_BUILT_IN, 11.0, 1.8, drop, 0.03 * drop, 0.02 * 1.8, 7.9)
    fit = fit_sag((beam,), np.array([0]))
    assert fit is not None
    assert fit.mean_u_kpa == pytest.approx(500.0 * 0.05, rel=1e-9)


def test_the_row_takes_the_next_firing_s_uncertainty_of_the_modulus(tmp_path: Path) -> None:
    fit = fitted(tmp_path, Truth(), (1, 1, 1))
    row = row_from_fit(fit, "bronze 1")
    assert fit.sag is not None
    assert row.sag_modulus_kpa is not None
    assert row.sag_modulus_kpa.u == fit.sag.next_u_kpa > fit.sag.mean_u_kpa


def test_screen_sentence_and_json_state_one_interval_at_40_mm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The interval of 40 mm is that of 40 mm fired, wherever a maker reads it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")
    assert main(["calibrate", *map(str, SHEETS), "--row", "try"]) == 0
    said = capsys.readouterr().out
    axes = json.loads(Path("try.fit.json").read_text())["axes"]
    for name in ("x", "y", "z"):
        (at_40,) = [each for each in axes[name]["next_part"] if each["fired_mm"] == 40.0]
        line = re.search(rf"^{name.upper()} .*?([\d.]+)\s*$", said, re.MULTILINE)
        assert line is not None
        assert line[1] == rounded_up(at_40["half95_mm"])
    stated = re.search(r"next 40 mm will come out 40\.00 ± ([\d.]+) mm along X", said)
    (at_40,) = [each for each in axes["x"]["next_part"] if each["fired_mm"] == 40.0]
    assert stated is not None
    assert stated[1] == rounded_up(at_40["half95_mm"])
    # The coupon is lower than that: of Z, a length is stated that it reaches.
    assert "next 20 mm will come out 20.00" in said


def test_the_middle_of_two_axes_lies_halfway(tmp_path: Path) -> None:
    """X and Y that differ are not pooled: the row holds their middle."""
    fit = fitted(tmp_path, replace(Truth(), shrinkage_y=0.1535), (1, 1, 1))
    assert fit.axes_differ
    middle = 0.5 * (float(fit.x.fit.fired_mm(40.0)) + float(fit.y.fit.fired_mm(40.0)))
    assert float(fit.xy.fit.fired_mm(40.0)) == pytest.approx(middle, rel=1e-9)


def drawn_beams(shapes: list[tuple[float, float]]) -> tuple[Beam, ...]:
    return tuple(
        Beam(
            id=f"B{i}",
            coupon=0,
            support=Support.BOTH_BUILT_IN,
            span_mm=span,
            depth_mm=depth,
            drop_mm=beam_drop_mm(Support.BOTH_BUILT_IN, span, depth, 700.0, 7.9),
            drop_u_mm=0.01,
            depth_u_mm=0.01,
            density_g_cm3=7.9,
        )
        for i, (span, depth) in enumerate(shapes)
    )


def test_a_power_is_fitted_only_where_beams_differ_in_it() -> None:
    spans, depths = [(19.0, 1.8), (23.0, 1.8), (27.0, 1.8)], [(27.0, 1.8), (27.0, 2.2), (27.0, 2.6)]
    span, depth = fitted_powers(drawn_beams(spans))
    assert span is not None
    assert span.fitted == pytest.approx(4.0)
    assert depth is None
    span, depth = fitted_powers(drawn_beams(depths))
    assert span is None
    assert depth is not None
    assert depth.fitted == pytest.approx(-2.0)
    assert fitted_powers(drawn_beams(spans[:2])) == (None, None), "nothing is left to judge by"


def test_a_drop_read_three_times_is_as_unsure_as_its_readings_differ(tmp_path: Path) -> None:
    """Standard deviation over root three; one reading is as sure as the gauge's step."""
    (text,) = filled_sheets(Truth(), (1,), 3).values()
    path = tmp_path / "one.csv"
    path.write_text(text, encoding="utf-8", newline="")
    sheet = read_sheet(path)

    def with_readings(*off: float) -> Beam:
        readings = tuple(
            replace(r, fired=tuple(r.fired[0] + each for each in off)) if r.id == "B2" else r
            for r in sheet.readings
        )
        fit = fit_sheets((replace(sheet, readings=readings),))
        assert fit.sag is not None
        return next(beam for beam in fit.sag.beams if beam.id == "B2")

    once, thrice = with_readings(0.0), with_readings(-0.03, 0.0, 0.03)
    assert thrice.drop_mm == pytest.approx(once.drop_mm)
    step = sheet.settings.gauge_resolution / 12.0**0.5
    assert once.drop_u_mm == pytest.approx(step)
    assert thrice.drop_u_mm == pytest.approx(0.03 / 3.0**0.5)


def one_sheet(folder: Path) -> Sheet:
    (text,) = filled_sheets(Truth(), (1,), 3).values()
    path = folder / "one.csv"
    path.write_text(text, encoding="utf-8", newline="")
    return read_sheet(path)


def fit_with(sheet: Sheet, **changes: dict[str, Any]) -> FitResult:
    """Fit of a sheet of which some lines read otherwise."""
    readings = tuple(replace(r, **changes.get(r.id, {})) for r in sheet.readings)
    return fit_sheets((replace(sheet, readings=readings),))


def test_a_bridge_s_span_is_shorter_by_the_spread_and_its_beam_deeper(tmp_path: Path) -> None:
    """Both posts print into the span, the arm's post and tip move alike; all of it shrinks."""
    fit = fitted(tmp_path, Truth(), (1, 1, 1))
    assert fit.sag is not None
    spread = 2.0 * fit.printing.bead.value
    assert spread > 0.05, "a spread that can be told from nothing"
    nominal = {"B1": 23.0 - spread, "B2": 27.5 - spread, "B3": 33.0 - spread, "C1": 13.0}
    kept = 1.0 - fit.xy.shrinkage.value
    for beam in fit.sag.beams:
        if beam.id in nominal:
            # Each coupon shrinks by its own; they differ by some tenths of a percent.
            assert beam.span_mm == pytest.approx(nominal[beam.id] * kept, rel=3e-3)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"fired": (0.0,)}, "did not drop"),
        ({"fired": (-0.2,)}, "did not drop"),
        ({"fired": (0.001,)}, "too small to read"),
        ({"thickness": None}, "span or thickness is missing"),
        ({"nominal": None}, "span or thickness is missing"),
    ],
)
def test_a_beam_that_says_nothing_is_refused_with_its_reason(
    change: dict[str, Any], why: str, tmp_path: Path
) -> None:
    fit = fit_with(one_sheet(tmp_path), B2=change)
    assert fit.sag is not None
    (refused,) = [beam for beam in fit.sag.beams if beam.refused]
    assert refused.id == "B2"
    assert why in refused.refused


def test_a_beam_that_was_not_measured_is_no_beam(tmp_path: Path) -> None:
    fit = fit_with(one_sheet(tmp_path), B2={"fired": (), "remark": ""})
    assert fit.sag is not None
    assert {beam.id for beam in fit.sag.beams} == {"B1", "B3", "B4", "C1"}


def test_the_thinnest_wall_is_the_thinnest_that_always_came_out(tmp_path: Path) -> None:
    """One coupon's torn wall counts for all; thinner ones beyond a torn one do not."""
    sheet = one_sheet(tmp_path)
    usual = fit_with(sheet)
    torn = fit_with(sheet, W4={"green": (0.0,), "fired": (0.0,)})
    assert usual.walls is not None
    assert torn.walls is not None
    assert usual.walls.thinnest_mm == pytest.approx(0.83)
    assert torn.walls.thinnest_mm == pytest.approx(1.32)
    other = replace(
        sheet,
        settings=replace(sheet.settings, coupon="2"),
        readings=tuple(
            replace(r, green=(0.0,), fired=(0.0,)) if r.id == "W3" else r for r in sheet.readings
        ),
    )
    for order in ((sheet, other), (other, sheet)):
        both = fit_sheets(order)
        assert both.walls is not None
        assert both.walls.thinnest_mm == pytest.approx(1.16)


def test_what_was_left_out_has_no_residual(tmp_path: Path) -> None:
    sheets = fitted(tmp_path, Truth(), (1, 1)).sheets
    fit = fit_sheets(sheets, ["1:X2"])
    missing = np.isnan(fit.x.residuals_mm)
    assert np.count_nonzero(missing) == 1
    assert np.array_equal(missing, fit.x.lengths.weight == 0.0)


def test_print_and_bead_add_to_one_length_in_squares(tmp_path: Path) -> None:
    """One length strays by what fired lengths stray from their model, and by the spread's u.

    The reading's own errors are not the part's: of two readings the mean has half their variance.
    """
    fit = fitted(tmp_path, Truth(), (2, 1, 1))
    row = row_from_fit(fit, "bronze 1")
    spread = 2.0 * fit.printing.next_bead.u * (1.0 - row.shrinkage_xy.value)
    seen = fit.from_model.residual_sd[0]
    stray = (seen**2 - 0.5 * fit.caliper.variance) ** 0.5
    assert row.residual_xy_mm == pytest.approx((stray**2 + spread**2) ** 0.5)
    # Print 0.020 shrunk, furnace 0.020, two readings of 0.008: 0.027 mm, known to 8 %.
    assert seen == pytest.approx(0.027, rel=0.2)


@pytest.mark.parametrize("firings", [2, 3, 6])
def test_coupons_of_a_firing_each_have_the_textbook_s_degrees_of_freedom(firings: int) -> None:
    """Their scatter is one sample of the firings': n - 1; within one firing, coupons less one."""
    values = np.random.default_rng(2).normal(30.0, 0.1, firings)
    alone = firing_scatter(values, np.arange(firings))
    assert alone.equivalent_dof == pytest.approx(firings - 1.0, rel=1e-6)
    assert firing_scatter(values, np.zeros(firings)).equivalent_dof == firings - 1.0


def test_the_middle_s_intercept_is_as_unsure_as_the_less_sure_axis(tmp_path: Path) -> None:
    truth = replace(Truth(), shrinkage_y=0.1535)
    sheets = fitted(tmp_path, truth, (1, 1, 1)).sheets
    fit = fit_sheets(sheets, ["1:X1", "2:X2", "3:X3", "1:X4", "2:X5"])
    assert fit.axes_differ
    x, y = float(fit.x.fit.intercept.dof), float(fit.y.fit.intercept.dof)
    assert x < y
    assert float(fit.xy.fit.intercept.dof) == x


def test_long_lengths_are_judged_by_their_own_axis(tmp_path: Path) -> None:
    """X and Y of each coupon a little apart is no scatter of single lengths."""
    rng = np.random.default_rng(4)

    def note_of(apart: float, grows: float) -> str:
        sheets = []
        for number in range(4):
            kept = {
                axis: 0.85 + apart * (-1) ** number * k
                for axis, k in zip("xyz", (1, -1, 0), strict=True)
            }
            readings = []
            for read in one_sheet(tmp_path).readings:
                if read.kind in LENGTH_KINDS and read.nominal is not None:
                    off = rng.normal(0.0, 0.01 + grows * read.nominal)
                    green = read.nominal + 0.001 * number
                    fired = green * kept[read.axis] + off
                    read = replace(read, green=(green,), fired=(fired,))
                readings.append(read)
            settings = replace(one_sheet(tmp_path).settings, coupon=str(number), firing=str(number))
            sheets.append(replace(one_sheet(tmp_path), settings=settings, readings=tuple(readings)))
        return "".join(n.text for n in fit_sheets(sheets).notes if "stray more" in n.text)

    assert note_of(0.003, 0.0) == ""
    assert "long lengths stray more" in note_of(0.0, 0.005)


def test_a_single_coupon_never_knows_its_mean_for_sure(tmp_path: Path) -> None:
    """One coupon shows no scatter; what its line leaves unsure of the mean stays."""
    fit = fitted(tmp_path, Truth(), (1,))
    row = row_from_fit(fit, "bronze 1")
    for parts, axis in ((row.parts_x, fit.x), (row.parts_y, fit.y), (row.parts_z, fit.z)):
        assert parts is not None
        assert parts.mean_u == pytest.approx(axis.shrinkage.u)
        assert parts.mean_u > 1e-5
