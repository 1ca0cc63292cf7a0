"""The fit's report: the same fit gives the same plots, and what stands apart is shown."""

from __future__ import annotations

import base64
import io
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import pytest
from rich.console import Console

from shrinkrule import FitResult, fit_sheets, read_sheet, row_from_fit
from shrinkrule.physics.estimate import Estimate
from shrinkrule.report.fit.console import modulus_text, printer_text, show_fit
from shrinkrule.report.fit.html import fit_html
from shrinkrule.report.fit.plots import Plot, fit_plots

SHEETS = sorted((Path(__file__).parents[2] / "sample_models" / "sheets").glob("*.csv"))


@pytest.fixture(scope="module")
def slipped() -> FitResult:
    """Demo sheets with one slip of the pen and one broken beam."""
    sheets = [read_sheet(path) for path in SHEETS]
    readings = tuple(
        replace(r, fired=tuple(v - 0.5 for v in r.fired))
        if r.id == "X2"
        else replace(r, fired=(), remark="broken")
        if r.id == "B2"
        else r
        for r in sheets[2].readings
    )
    sheets[2] = replace(sheets[2], readings=readings)
    return fit_sheets(sheets)


@pytest.fixture(scope="module")
def drawn(slipped: FitResult) -> tuple[Plot, ...]:
    return fit_plots(slipped)


def test_every_half_width_on_the_screen_is_one_of_95_percent(slipped: FitResult) -> None:
    """A bead that is unsure by 0.01 with few degrees of freedom is stated by Student's factor."""
    few = Estimate(0.05, 0.01, 4.0)
    shown = printer_text(replace(slipped, printing=replace(slipped.printing, bead=few)))
    assert shown.startswith("bead +0.050 ± 0.028 mm a surface")
    assert slipped.sag is not None
    sag = replace(slipped.sag, modulus_kpa=500.0, next_u_kpa=50.0, next_dof=4.0)
    assert modulus_text(sag) == "500 kPa, 379 to 660"
    out = io.StringIO()
    dense = replace(row_from_fit(slipped, "bronze 3"), relative_density=Estimate(0.95, 0.01))
    show_fit(slipped, dense, {}, Console(file=out, width=200))
    assert "fired, 95 %" in out.getvalue()
    assert "95.0 ± 2.0 % dense" in out.getvalue()


def test_plots_are_the_same_each_time_whatever_the_settings_of_the_plotting_library(
    slipped: FitResult,
    drawn: tuple[Plot, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A file of settings in the folder may ask for other programs to draw the text."""
    monkeypatch.setitem(mpl.rcParams, "text.usetex", True)
    monkeypatch.setitem(mpl.rcParams, "axes.facecolor", "red")
    assert fit_plots(slipped) == drawn
    (tmp_path / "matplotlibrc").write_bytes(b"\xff\xfe no settings")
    # Such a script takes modules from the current folder too.
    script = "import shrinkrule.report.fit.library, os; print(os.getcwd())"
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env={**os.environ, "MPLCONFIGDIR": os.devnull},  # where no list of fonts can be kept
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr, done.stdout.strip()) == (0, "", str(tmp_path))


def test_plots_are_whole_pictures_with_words(drawn: tuple[Plot, ...]) -> None:
    assert len(drawn) == 4
    for plot in drawn:
        svg = base64.b64decode(plot.uri.removeprefix("data:image/svg+xml;base64,"))
        assert svg.rstrip().endswith(b"</svg>")
        assert b"http-equiv" not in svg
        assert len(plot.caption) > 40


def test_the_outlier_and_the_broken_beam_are_in_the_tables(slipped: FitResult) -> None:
    text = fit_html(slipped, row_from_fit(slipped, "bronze 3"), {})
    apart = text[text.index("Readings that stand apart") : text.index("Metal balance")]
    assert SHEETS[2].name in apart
    assert "<td>X2</td>" in apart
    # The line of the others moves a little towards the slip.
    assert "-0.5" in apart or "-0.4" in apart
    assert "<td>broken</td>" in text[text.index("<h2>Sag</h2>") :]


def test_a_fit_without_weights_and_beams_reports_what_it_has() -> None:
    sheets = [read_sheet(path) for path in SHEETS]
    bare = [replace(s, readings=tuple(r for r in s.readings if r.id[0] in "XYZ")) for s in sheets]
    fit = fit_sheets(bare)
    text = fit_html(fit, row_from_fit(fit, "bronze 3"), {})
    assert "Nothing was weighed" in text
    assert "No beam could be used" in text
    assert fit.relative_density is None
    assert len(fit_plots(fit)) == 3
