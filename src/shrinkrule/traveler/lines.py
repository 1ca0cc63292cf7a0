"""The lines of a load's sheet: what is stated of it, then each part's weights and lengths."""

from __future__ import annotations

from typing import Final

from shrinkrule.physics.interval import Interval
from shrinkrule.sheet import Kind, Setting, SheetLine
from shrinkrule.traveler.load import Expected, Load, TravelingPart

CALIPER_MM: Final = 0.01
BALANCE_G: Final = 0.01
"""Last steps that are written in, for the maker to change."""


def sheet_lines(load: Load) -> list[SheetLine]:
    """Lines of the sheet of a load.

    Parameters
    ----------
    load : Load
        Parts that are fired together.

    Returns
    -------
    list of SheetLine
        In the order of the page.
    """
    row, settings = load.row, load.settings
    share = row["metal_mass_share"]
    head: list[tuple[Setting, str, str, float | str | None, str]] = [
        (Setting.FIRING, "number or name of the firing", "", None, "fill in; each firing its own"),
        (Setting.DATE, "day of the firing", "", None, "fill in, as 2026-11-02"),
        (Setting.ROW, "row of the table", "", row["name"], "written by the traveler"),
        (Setting.MATERIAL, "material", "", row["material"], ""),
        (Setting.PROCESS, "process", "", row["process"], ""),
        (Setting.METAL_DENSITY, "solid metal", "g/cm3", row["metal_density_g_cm3"], ""),
        (
            Setting.METAL_MASS_SHARE,
            "metal in the filament by mass",
            "pct",
            None if share is None else 100.0 * share,
            "",
        ),
        (Setting.CALIPER_RESOLUTION, "caliper: last step", "mm", CALIPER_MM, "change if coarser"),
        (Setting.BALANCE_RESOLUTION, "balance: last step", "g", BALANCE_G, "change if coarser"),
        (Setting.NOZZLE, "nozzle bore", "mm", settings["printer.nozzle"], ""),
        (Setting.BEAD_WIDTH, "bead width", "mm", settings["printer.bead_width"], ""),
        (Setting.LAYER_HEIGHT, "layer height", "mm", settings["printer.layer_height"], ""),
    ]
    lines = [
        SheetLine(key.value, what, Kind.SETTING, unit=unit, nominal=nominal, note=note)
        for key, what, unit, nominal, note in head
    ]
    for part in load.parts:
        lines += _part_lines(part)
    return lines


def _part_lines(part: TravelingPart) -> list[SheetLine]:
    weights = ", ".join(
        f"{stage} {band(mass, 2)}"
        for stage in ("green", "debound", "fired")
        if (mass := part.mass(stage)) is not None
    )
    return [
        SheetLine(
            part.letter,
            part.name,
            Kind.PART,
            unit="mm3",
            nominal=part.report["prediction"]["green_volume_mm3"],
            note=f"{part.green.name} sha256:{part.green_sha256}",
        ),
        SheetLine(f"{part.letter}M", f"{part.name}: weight", Kind.MASS, unit="g", note=weights),
        *(_length_line(one) for one in part.lengths),
    ]


def _length_line(one: Expected) -> SheetLine:
    return SheetLine(
        one.mark,
        one.what,
        one.kind,
        one.axis,
        nominal=one.sliced_mm,
        sag=one.sag_mm,
        note=f"green {band(one.green_mm)}, fired {band(one.fired_mm)}",
    )


def band(value: Interval, digits: int = 2) -> str:
    """Band in which a reading is fine, rounded outward: that of the 95 % interval.

    Parameters
    ----------
    value : Interval
        What is expected; without a half width it is given alone.
    digits : int
        Decimals.

    Returns
    -------
    str
        As ``46.57 to 47.05``.

    Examples
    --------
    >>> band(Interval(46.81, 0.2351))
    '46.57 to 47.05'
    """
    if value.half95 is None:
        return f"about {value.value:.{digits}f}"
    step = 10.0**-digits
    low, high = value.value - value.half95, value.value + value.half95
    # A billionth keeps a bound that is a step already from being moved by its rounding.
    return f"{step * _floor(low / step):.{digits}f} to {-step * _floor(-high / step):.{digits}f}"


def _floor(steps: float) -> int:
    """Steps, rounded down."""
    return int((steps + 1e-9) // 1.0)
