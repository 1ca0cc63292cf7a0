"""What the row's printer does to the part, in words: errors, layers, limits, first layer, bores."""

from __future__ import annotations

from typing import Final

from shrinkrule.calibration import AXES
from shrinkrule.job import JobResult
from shrinkrule.units import rounded_up

LEAST_SEEN_MM: Final = 0.005
"""What two decimals round to nothing."""


def print_facts(result: JobResult) -> list[tuple[str, str]]:
    """What the row's printer does to the part, each fact with its name."""
    row, said = result.recipe.row, []
    if row is not None and row.print_scale_x is not None:
        scales = {axis: row.along(axis).print_scale for axis in AXES}
        errors = ", ".join(
            f"{axis.upper()} {100.0 * scale.value:+.2f} ± {rounded_up(100.0 * scale.half_width())}"
            for axis, scale in scales.items()
            if scale is not None
        )
        said.append(
            (
                "printer",
                "the coupon's, corrected since by what the row says of its axes"
                if result.recipe.printer_corrected
                else "made for the one that printed the coupon: its axes are off by "
                f"{errors} % (95 %)",
            )
        )
    if lies := _lies_text(result):
        said.append(("lies", lies))
    if layers := layer_text(result):
        said.append(("layers", layers))
    if limits := limit_text(result):
        said.append(("limits", limits))
    if row is None:
        return said
    first, bore = row.first_layer_mm, row.bore_offset_mm
    if first is not None and first.is_significant():
        done = (
            "taken off at the faces on the plate"
            if result.recipe.made.plate_mm
            else "in the predicted height"
        )
        said.append(
            (
                "first layer",
                f"green heights {first.value:+.2f} ± {rounded_up(first.half_width())} mm: {done}",
            )
        )
    if bore is not None and bore.is_significant():
        fired = bore.times(1.0 - row.shrinkage_xy.value)
        of = "" if row.bore_at_mm is None else f" of {row.bore_at_mm:.1f} mm green"
        said.append(
            (
                "bores",
                f"round holes{of} come out {fired.value:+.2f} ± "
                f"{rounded_up(fired.half_width())} mm off slots of that width",
            )
        )
    if unknown := row.does_not_know:
        said.append(("not known", f"{', '.join(unknown)}"))
    return said


def _lies_text(result: JobResult) -> str:
    """What turning the green part about Z would do to it; empty where that cannot be seen."""
    factors = result.green.factors
    longest = max(size.wanted_mm for size in result.prediction.sizes if size.axis != "Z")
    off = longest * abs(factors.x / factors.y - 1.0)
    if off < LEAST_SEEN_MM:
        return ""
    return (
        "X and Y are scaled apart: do not turn the green part about Z, or its sides come out "
        f"up to {off:.2f} mm off"
    )


def limit_text(result: JobResult) -> str:
    """Which walls and floors are asked for, and who says so; empty where the usual limits hold."""
    settings, printer, limits = (
        result.recipe.settings,
        result.recipe.printer,
        result.recipe.limits,
    )
    if settings is None:
        return ""
    asked = (
        ("limits.wall_beads", "a wall", limits.exist_mm(printer)),
        ("limits.floor_layers", "a floor", limits.floor_mm(printer)),
    )
    return "; ".join(
        f"{what} needs {mm:.2f} mm, {setting.shown}: {setting.place}"
        for name, what, mm in asked
        if (setting := settings[name]).value != setting.key.built_in
    )


def layer_text(result: JobResult) -> str:
    """What whole layers make of the part's height; empty where it is whole as it was scaled."""
    layers, heights = result.prediction.layers, result.recipe.made.heights
    if layers is None or heights is None:
        return ""
    if abs(layers.off_mm) < LEAST_SEEN_MM:
        stretch = result.green.factors.z / result.recipe.scale.z - 1.0
        if not result.recipe.whole_layers or stretch == 0.0:
            return ""
        return (
            f"{layers.count} whole ones of {heights.layer_mm:g} mm: the green part is stretched in "
            f"Z by {100.0 * stretch:+.2f} % for that"
        )
    said = (
        f"{layers.layers:.1f} of {heights.layer_mm:g} mm: {layers.count} are printed, which puts "
        f"{layers.off_mm:+.2f} mm on the height"
    )
    if not layers.whole_mm:
        return said
    whole = ", ".join(f"{height:.2f}" for height in layers.whole_mm)
    return f"{said}; wanted heights that come out whole: {whole} mm"
