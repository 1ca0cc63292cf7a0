"""Plots of a fit: residuals against length, shrinkage coupon by coupon, sag against theory.

Drawn as SVG and put into the report as data, so that it stays one file and works offline.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from shrinkrule.calibration import AxisResult, FitResult, SagFit, Support
from shrinkrule.physics.estimate import Estimate, t_quantile
from shrinkrule.report.fit.library import Figure, NullLocator, shipped_settings

SIZE_IN: Final = (6.4, 3.6)
INK: Final = "#1d2226"
SOFT: Final = "#5c666d"
BAND: Final = "#dfe6ea"
COLOURS: Final = ("#0b6aa8", "#b4540a", "#2f7d5b", "#7b4aa0", "#8a6d00", "#a3334f")
"""Distinct also to people who confuse red and green; then they repeat."""
WIDEST_BAND: Final = 100.0
"""Factor beyond which the band of the next firing is cut: it fills the plot long before."""

TICKS_MM: Final = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
MARKS: Final = ("o", "s", "^", "D", "v", "P", "X", "*")


@dataclass(frozen=True)
class Plot:
    """A picture with what it shows, for those who cannot see it too."""

    uri: str
    caption: str


def fit_plots(fit: FitResult) -> tuple[Plot, ...]:
    """All plots of a fit.

    Parameters
    ----------
    fit : FitResult
        What to draw.

    Returns
    -------
    tuple of Plot
        Residuals, coupons and, where beams were measured, drops.
    """
    with shipped_settings():
        plots = [_residuals(fit, fit.xy), _residuals(fit, fit.z), _coupons(fit)]
        if fit.sag is not None and fit.sag.used:
            plots.append(_drops(fit, fit.sag))
    return tuple(plots)


def _figure() -> tuple[Figure, Any]:
    figure = Figure(figsize=SIZE_IN, layout="constrained")
    axes = figure.subplots()
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=SOFT, labelcolor=INK)
    return figure, axes


def _plot(figure: Figure, caption: str) -> Plot:
    out = io.BytesIO()
    # No date: the same fit gives the same file.
    figure.savefig(out, format="svg", metadata={"Date": None})
    data = base64.b64encode(out.getvalue()).decode()
    return Plot(f"data:image/svg+xml;base64,{data}", caption)


def _legend(figure: Figure) -> None:
    figure.legend(loc="outside lower center", fontsize=8, frameon=False, ncols=4)


def _style(number: int) -> dict[str, Any]:
    return {"color": COLOURS[number % len(COLOURS)], "marker": MARKS[number % len(MARKS)]}


def _name(fit: FitResult, number: int) -> str:
    settings = fit.sheets[number].settings
    return f"coupon {settings.coupon}" + (f", firing {settings.firing}" if settings.firing else "")


def _residuals(fit: FitResult, axis: AxisResult) -> Plot:
    figure, axes = _figure()
    spread = float(np.sqrt(axis.fit.residual_variance))
    reach = float(t_quantile(axis.fit.residual_dof)) * spread
    axes.axhspan(-reach, reach, color=BAND, lw=0)
    axes.axhline(0.0, color=SOFT, lw=1)
    residuals = axis.residuals_mm
    for number in range(fit.coupons):
        axes.plot(
            axis.lengths.green[number],
            residuals[number],
            linestyle="none",
            markersize=5,
            label=_name(fit, number),
            **_style(number),
        )
    for outlier in fit.outliers:
        for number, row in enumerate(axis.lengths.readings):
            for column, reading in enumerate(row):
                if (reading.id, fit.sheets[number].where) == (outlier.id, outlier.where):
                    at = (axis.lengths.green[number, column], residuals[number, column])
                    axes.annotate(outlier.id, at, xytext=(6, 4), textcoords="offset points")
    axes.set_xlabel(f"green length along {axis.name}, mm")
    axes.set_ylabel("fired length less its line, mm")
    axes.set_xlim(left=0.0)
    _legend(figure)
    caption = (
        f"Residuals in {axis.name}: fired length less its coupon's line, against green length. "
        f"95 % of single lengths lie in the band of ± {reach:.3f} mm; a slope or a bow would speak "
        "against the line."
    )
    return _plot(figure, caption)


def _coupons(fit: FitResult) -> Plot:
    figure, axes = _figure()
    names = []
    place = 0.0
    for axis in (fit.x, fit.y, fit.z):
        at = axis.fit.centre_mm
        values = 100.0 * (1.0 - axis.fit.lines.at(at) / at)
        own = np.sqrt(axis.fit.residual_variance * axis.fit.lines.unit_variance_at(at)) / at
        reach = 100.0 * float(t_quantile(axis.fit.residual_dof)) * own
        mean = 100.0 * axis.shrinkage.value
        width = float(fit.coupons)
        ends = np.array([place - 0.5, place + width - 0.5])
        u = 100.0 * float(t_quantile(_mean_dof(axis))) * axis.shrinkage.u
        axes.fill_between(ends, mean - u, mean + u, color=BAND, lw=0)
        axes.plot(ends, [mean, mean], color=INK, lw=1.5)
        for number in range(fit.coupons):
            axes.errorbar(
                place + number,
                values[number],
                yerr=reach[number],
                capsize=3,
                markersize=5,
                label=_name(fit, number) if axis is fit.x else None,
                **_style(number),
            )
        names.append((place + (width - 1.0) / 2.0, axis.name))
        place += width + 1.0
    axes.set_xticks([at for at, _ in names], [name for _, name in names])
    axes.set_ylabel("shrinkage, % of green length")
    _legend(figure)
    caption = (
        "Shrinkage of each coupon along X, Y and Z. Bars are 95 % intervals of the coupon's own "
        "line; the line is the mean, in a band of 95 %. Coupons that differ more than their "
        "bars differ by part or by firing."
    )
    return _plot(figure, caption)


def _mean_dof(axis: AxisResult) -> float:
    """Degrees of freedom of the mean shrinkage."""
    scatter = axis.fit.scatter_at(axis.fit.centre_mm)
    return float(scatter.mean_dof or axis.fit.residual_dof)


def _drops(fit: FitResult, sag: SagFit) -> Plot:
    figure, axes = _figure()
    labelled: set[int] = set()
    unit: list[float] = []
    for beam in sag.beams:
        if beam.drop_mm <= 0.0:
            continue
        expected = beam.modulus_kpa * beam.drop_mm / sag.modulus_kpa
        unit.append(expected)
        style = _style(beam.coupon)
        if beam.refused:
            style |= {"marker": "x"}
        axes.errorbar(
            expected,
            beam.drop_mm,
            yerr=2.0 * beam.drop_u_mm,
            capsize=2,
            markersize=6,
            linestyle="none",
            fillstyle="none" if beam.support is Support.ONE_BUILT_IN else "full",
            label=_name(fit, beam.coupon) if beam.coupon not in labelled else None,
            **style,
        )
        labelled.add(beam.coupon)
        if beam.refused or beam.coupon == sag.used[0].coupon:
            at = (expected, beam.drop_mm)
            axes.annotate(beam.id, at, xytext=(7, -10), textcoords="offset points", fontsize=8)
    ends = np.array([0.8 * min(unit), 1.25 * max(unit)])
    factor = Estimate(sag.modulus_kpa, sag.next_u_kpa, sag.next_dof).factor()
    factor = min(factor, WIDEST_BAND)
    axes.fill_between(ends, ends / factor, ends * factor, color=BAND, lw=0)
    axes.plot(ends, ends, color=SOFT, lw=1)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlabel(f"drop of a beam of {sag.modulus_kpa:.0f} kPa, mm")
    axes.set_ylabel("drop measured, mm")
    for scale in (axes.xaxis, axes.yaxis):
        scale.set_ticks([tick for tick in TICKS_MM if ends[0] <= tick <= ends[1]])
        scale.set_major_formatter("{x:g}")
        scale.set_minor_locator(NullLocator())
    _legend(figure)
    caption = (
        "Drops measured against those of beams of the fitted sag modulus; the band is the modulus "
        "of the next firing (95 %). Open marks are cantilevers, crosses are refused."
    )
    return _plot(figure, caption)
