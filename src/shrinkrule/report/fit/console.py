"""A fit on the screen: what the next part will measure, the axes, what to look at."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from rich.console import Console
from rich.table import Table
from rich.text import Text

from shrinkrule.calibration import (
    AXES,
    CalibrationRow,
    Estimate,
    FitResult,
    NoteWeight,
    SagFit,
    plain_sentences,
)
from shrinkrule.cells import on_screen
from shrinkrule.defaults import STATED_LENGTH_MM
from shrinkrule.physics.estimate import t_quantile
from shrinkrule.units import rounded_up

STYLES: Final = {
    NoteWeight.WRONG: "bold red",
    NoteWeight.LOOK: "bold yellow",
    NoteWeight.FACT: "dim",
}


def show_fit(fit: FitResult, row: CalibrationRow, files: dict[str, Path], console: Console) -> None:
    """Show a fit on one page.

    Parameters
    ----------
    fit : FitResult
        What to show.
    row : CalibrationRow
        Row that the fit makes.
    files : dict
        Path of each file that was written, by kind.
    console : Console
        Where to.
    """
    coupons = f"{fit.coupons} {'coupon' if fit.coupons == 1 else 'coupons'}"
    firings = f"{len(fit.firings)} {'firing' if len(fit.firings) == 1 else 'firings'}"
    console.print(
        f"[bold]{on_screen(row.name)}[/bold]: {on_screen(row.material)}, {coupons}, {firings}"
    )
    for sentence in plain_sentences(fit):
        console.print(Text(sentence))
    console.print(_axes(fit, row))
    facts = Table(box=None, show_header=False, pad_edge=False)
    facts.add_column(style="dim", no_wrap=True)
    facts.add_column()
    facts.add_row("printer, 95 %", printer_text(fit))
    if row.relative_density is not None:
        density = row.relative_density
        half = rounded_up(100.0 * density.half_width(), 1)
        facts.add_row("fired, 95 %", f"{100 * density.value:.1f} ± {half} % dense")
    if fit.sag is not None:
        reach = "next firing" if fit.knows_firings else "this firing"
        facts.add_row("sag modulus, 95 %", f"{modulus_text(fit.sag)}, {reach}")
    console.print(facts)
    for note in fit.notes:
        if note.weight is not NoteWeight.FACT:
            console.print(Text.assemble((f"{note.weight}: ", STYLES[note.weight]), note.text))
    for kind, word in (("table", "row in"), ("html", "read")):
        if kind in files:
            console.print(f"[bold]{word}[/bold] {on_screen(str(files[kind]))}", soft_wrap=True)


def show_bars(bars: SagFit, console: Console) -> None:
    """Show the modulus of bars that were measured without their block.

    Parameters
    ----------
    bars : SagFit
        What to show.
    console : Console
        Where to.
    """
    used = f"{len(bars.used)} of {len(bars.beams)} beams"
    console.print(f"[bold]sag modulus[/bold] {modulus_text(bars)} (95 %), this firing")
    console.print(f"from {used} without their block, of the filament's density", style="dim")
    for beam in bars.beams:
        said = beam.refused or f"dropped {beam.drop_mm:.2f} mm: {beam.modulus_kpa:.0f} kPa"
        console.print(Text(f"- {beam.id} {said}"))
    console.print(
        "No row is made: shrinkage needs the block. Name its sheet together with this one."
    )


def modulus_text(sag: SagFit) -> str:
    """A sag modulus with the limits within which it lies at 95 %, kPa."""
    factor = Estimate(sag.modulus_kpa, sag.next_u_kpa, sag.next_dof).factor()
    low, high = sag.modulus_kpa / factor, sag.modulus_kpa * factor
    return f"{sag.modulus_kpa:.0f} kPa, {low:.0f} to {high:.0f}"


def printer_text(fit: FitResult) -> str:
    """What the printer does to lengths, each with the half width of its 95 % interval."""
    printing = fit.printing
    said = [f"bead {_pm(printing.bead)} mm a surface"]
    if printing.first_layer is not None:
        said.append(f"heights {_pm(printing.first_layer)} mm")
    if printing.bore is not None:
        said.append(f"bores {_pm(printing.bore)} mm")
    scales = zip("XYZ", printing.scales, strict=True)
    axes = ", ".join(f"{name} {_pm(scale.times(100.0), 2)}" for name, scale in scales)
    return f"{', '.join(said)}; {axes} %"


def _pm(estimate: Estimate, digits: int = 3) -> str:
    return f"{estimate.value:+.{digits}f} ± {rounded_up(estimate.half_width(), digits)}"


def _axes(fit: FitResult, row: CalibrationRow) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in (
        "axis",
        "shrinks, %, ± 95 %",
        "parts differ, %",
        "firings differ, %",
        "40 mm ±",
    ):
        table.add_column(heading, justify="left" if heading == "axis" else "right")
    for name, axis in zip(AXES, (fit.x, fit.y, fit.z), strict=True):
        at = axis.fit.centre_mm
        scatter = axis.fit.scatter_at(at)
        dof = axis.scatter.mean_dof or axis.fit.residual_dof
        half = row.promise(name, STATED_LENGTH_MM).half95
        many = fit.coupons > len(fit.firings)
        table.add_row(
            axis.name,
            f"{100 * axis.shrinkage.value:.2f} ± "
            f"{rounded_up(100 * float(t_quantile(dof)) * axis.shrinkage.u)}",
            f"{100 * float(scatter.part_variance) ** 0.5 / at:.2f}" if many else "not known",
            f"{100 * float(scatter.firing_variance) ** 0.5 / at:.2f}"
            if fit.knows_firings
            else "not known",
            "not known" if half is None else rounded_up(half),
        )
    return table
