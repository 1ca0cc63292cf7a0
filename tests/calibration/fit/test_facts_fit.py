"""What a fit promises: degrees of freedom, the next firing's modulus, lengths that are stated."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from make_sheets import Truth, filled_sheets
from scipy import stats

from shrinkrule.calibration.fit.fit_sheets import fit_sheets
from shrinkrule.calibration.fit.result import FitResult
from shrinkrule.calibration.fit.sag import Beam, Support, beam_drop_mm, fit_sag, fitted_powers
from shrinkrule.calibration.fit.to_row import row_from_fit
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.cli import main

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
    factors = []
    for axis in (fit.xy, fit.z):
        scatter = axis.fit.scatter_at(axis.fit.centre_mm)
        factors.append(stats.t.ppf(0.975, scatter.equivalent_dof))
    assert max(factors) > 1.02 * min(factors), "the axes must differ for this to be a test"
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
    for name in ("x", "y", "xy", "z"):
        (at_40,) = [each for each in axes[name]["next_part"] if each["fired_mm"] == 40.0]
        line = re.search(rf"^{name.upper()} .*?([\d.]+)\s*$", said, re.MULTILINE)
        assert line is not None
        assert line[1] == f"{at_40['half95_mm']:.2f}"
    stated = re.search(r"next 40 mm XY dimension will come out 40\.00 ± ([\d.]+)", said)
    (at_40,) = [each for each in axes["xy"]["next_part"] if each["fired_mm"] == 40.0]
    assert stated is not None
    assert stated[1] == f"{at_40['half95_mm']:.2f}"
    # The coupon is lower than that: of Z, a length is stated that it reaches.
    assert "next 20 mm Z dimension will come out 20.00" in said


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
