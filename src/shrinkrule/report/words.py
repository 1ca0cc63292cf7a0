"""Numbers as people read them: with unit, and with their interval where there is one."""

from __future__ import annotations

import math
from typing import Final

from shrinkrule.calibration import AXES, CalibrationRow, Interval
from shrinkrule.compensation import SizePrediction
from shrinkrule.job import (
    JobResult,
    Outline,
    WallLook,
    longer_than_coupon,
    times,
)
from shrinkrule.units import rounded_up

_FINEST: Final = 4  # a tenth of a micrometre: nothing here is known better


def with_interval(value: Interval | None, digits: int | None = None, unit: str = "mm") -> str:
    """Value and half width of its 95 % interval, rounded up, as ``59.50 ± 0.37 mm``.

    Parameters
    ----------
    value : Interval or None
        Value with the half width of its 95 % interval.
    digits : int, optional
        Decimals; without them two, as a caliper reads, or one where whole units are unsure.
    unit : str
        Put behind the number.

    Returns
    -------
    str
        ``not known`` where there is no finite value.

    Examples
    --------
    >>> with_interval(Interval(59.5, 0.37)), with_interval(Interval(279.98, 1.73))
    ('59.50 ± 0.37 mm', '280.0 ± 1.8 mm')
    """
    if value is None or not math.isfinite(value.value):
        return "not known"
    if digits is None:
        digits = 2 if value.half95 is None or value.half95 < 1.0 else 1
    if value.half95 is None:
        return f"{value.value:.{digits}f} {unit}"
    return f"{value.value:.{digits}f} ± {rounded_up(value.half95, digits)} {unit}"


def fired_text(fired: Interval) -> str:
    """Fired size with its interval, or that none is promised of a part that sags too far."""
    return with_interval(fired) if math.isfinite(fired.value) else "not promised"


def sure_decimals(half95: float) -> int:
    """Decimals that an uncertainty allows: two of its digits where they are under 36, else one.

    Source: rounding rule of the Particle Data Group (Review of Particle Physics, introduction).

    Parameters
    ----------
    half95 : float
        Half width of a 95 % interval.

    Returns
    -------
    int
        At least 0.

    Examples
    --------
    >>> sure_decimals(0.0095), sure_decimals(0.24), sure_decimals(0.068), sure_decimals(12.0)
    (3, 2, 2, 0)
    """
    if not (math.isfinite(half95) and half95 > 0.0):
        return _FINEST
    place = 1 - math.floor(math.log10(half95))
    leading = round(half95 * 10.0**place, 9)
    decimals = place if leading < 35.5 else place - 1
    return min(max(decimals, 0), _FINEST)


def known_digits(value: Interval | None, unit: str) -> str:
    """Value and half width with the decimals that the half width allows, as ``24.8 ± 0.5 g``.

    Parameters
    ----------
    value : Interval or None
        Value with the half width of its 95 % interval.
    unit : str
        Put behind the number.

    Returns
    -------
    str
        Three digits where the interval is not known; ``not known`` where the value is not.

    Examples
    --------
    >>> known_digits(Interval(24.783, 0.42), "g"), known_digits(Interval(11534.0, 193.0), "g")
    ('24.8 ± 0.5 g', '11530 ± 200 g')
    """
    if value is None or not math.isfinite(value.value):
        return "not known"
    if value.half95 is None or not value.half95 > 0.0:
        size = abs(value.value)
        digits = 2 - math.floor(math.log10(size)) if size > 0.0 else 0
        return f"{value.value:.{min(max(digits, 0), _FINEST)}f} {unit}"
    # Tens and hundreds that are not known are nought.
    step = 10.0 ** max(0, math.floor(math.log10(value.half95)) - 1)
    half = step * math.ceil(value.half95 / step - 1e-9)
    rounded = Interval(step * round(value.value / step), half)
    return with_interval(rounded if step > 1.0 else value, sure_decimals(value.half95), unit)


def tolerance_class(size: SizePrediction) -> str:
    """ISO 286 and ISO 2768 class that the interval can hold, in a few words."""
    if size.fired_mm.half95 is None:
        return "not known"
    named = [size.iso286, size.iso2768 and f"2768 {size.iso2768}"]
    return ", ".join(filter(None, named)) or "none"


def shrinkage(row: CalibrationRow) -> str:
    """Shrinkage of a row with the half width of its 95 % interval, XY and Z."""
    apart = row.shrinkage_x is not None
    named = (
        {
            "X": row.along("x").shrinkage,
            "Y": row.along("y").shrinkage,
            "Z": row.shrinkage_z,
        }
        if apart
        else {"XY": row.shrinkage_xy, "Z": row.shrinkage_z}
    )
    said = (
        f"{name} {100 * s.value:.2f} ± {rounded_up(100 * s.half_width())}"
        for name, s in named.items()
    )
    return f"{', '.join(said)} % (95 %)"


def promised(row: CalibrationRow, length_mm: float) -> str:
    """Half widths for one length along X, Y and Z, as the list of rows shows them."""
    halves = [row.promise(axis, length_mm).half95 for axis in AXES]
    known = [rounded_up(half) for half in halves if half is not None]
    if not known:
        return "not known"
    return ", ".join(known) + ("" if row.holds_classes else " *")


def scaled(result: JobResult) -> str:
    """Oversize factors, and how the part lies on the bed."""
    recipe = result.recipe
    up = "" if recipe.print_up == "z" else f", printed with {recipe.print_up} up"
    turn = f", turned {recipe.turn_deg} degrees to the left" if recipe.turn_deg else ""
    return f"{result.green.factors}{up}{turn}"


def sentence(text: str) -> str:
    """Words with a capital and a full stop.

    Examples
    --------
    >>> sentence("thickest section 14.2 mm green")
    'Thickest section 14.2 mm green.'
    """
    return f"{text[:1].upper()}{text[1:]}."


def thickest_text(look: WallLook) -> str:
    """Thickest section, where, and what it asks of the binder; empty when nothing was measured."""
    section = look.report.thickest_mm
    if not math.isfinite(section):
        return ""
    x, y, z = look.thickest_in_model
    text = f"thickest section {section:.1f} mm green, at {x:z.1f}, {y:z.1f}, {z:z.1f} of the model"
    coupon, longer = look.coupon_section_mm, look.binder_time(section)
    if coupon is None or longer is None:
        if section <= look.limits.thick_mm:
            return text
        return (
            f"{text}; how that compares with the coupon is not known: state the coupon's "
            "thickest section, or write it into the row's thickest_section_mm"
        )
    if longer <= 1.0:
        return f"{text}, no thicker than the coupon's {coupon:.1f} mm"
    return (
        f"{text}: {times(longer)} times the square of the coupon's {coupon:.1f} mm, so "
        f"{longer_than_coupon(longer)}"
    )


def outline_offset(result: JobResult) -> str:
    """Instruction for the bead's spread, empty when the row knows none."""
    row = result.recipe.row
    if row is None or row.bead_offset_mm is None or row.bead_offset_mm.value == 0.0:
        return ""
    spread = row.bead_offset_mm
    half = rounded_up(spread.half_width(), 3)
    if result.recipe.outline is Outline.IN_MESH:
        return (
            f"Beads spread {spread.value:.3f} ± {half} mm (95 %) beyond each outline: the "
            "outlines of the green mesh are moved by that already; set no outline offset in print."
        )
    return (
        f"Beads spread {spread.value:.3f} ± {half} mm (95 %) beyond each outline: set the outline "
        f"offset of the print to {-spread.value:+.3f} mm. The fired sizes assume that; without it "
        f"XY sizes come out about {2 * spread.value * (1 - row.shrinkage_xy.value):.2f} mm larger."
    )


def offset_to_set(result: JobResult) -> str:
    """What is to be set in the print against the bead's spread; empty where there is nothing."""
    row = result.recipe.row
    if row is None or row.bead_offset_mm is None:
        return ""
    offset = -row.bead_offset_mm.value
    if offset == 0.0:
        return ""
    if result.recipe.outline is Outline.IN_MESH:
        return (
            f"no outline offset in the print: it is in the mesh ({offset:+.3f} mm), whose sizes "
            "are given before it"
        )
    return f"outline offset of the print {offset:+.3f} mm, which the fired sizes assume"


def masses(result: JobResult) -> list[tuple[str, str]]:
    """Masses to expect on the balance, stage by stage."""
    predicted = result.prediction
    stages = (
        ("green", predicted.green_mass_g),
        ("debound", predicted.debound_mass_g),
        ("sintered", predicted.fired_mass_g),
    )
    return [(name, known_digits(mass, "g")) for name, mass in stages]


def what_was_read(result: JobResult) -> str:
    """File, format, unit and soundness of the model in one line."""
    part, found = result.part, result.part.soundness
    bodies = counted(found.bodies, "body", "bodies")
    hollow = f", {counted(found.cavities, 'closed cavity', 'closed cavities')}"
    closed = "closed" if found.closed else "NOT CLOSED"
    unit = {"in": "inches", "ft": "feet"}.get(part.unit, part.unit)
    return (
        f"{part.file_format} in {unit}, {counted(found.facets, 'facet', 'facets')}, {closed}, "
        f"{bodies}{hollow if found.cavities else ''}"
    )


def rough(value: float) -> str:
    """An area or a volume to three digits, which is what a mesh's facets are worth.

    Examples
    --------
    >>> rough(34102.9), rough(215.2), rough(1.234)
    ('34100', '215', '1.2')
    """
    if not value >= 100.0:
        return f"{value:.1f}"
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return f"{step * round(value / step):.0f}"


def counted(count: int, one: str, many: str) -> str:
    """A count with its noun.

    Examples
    --------
    >>> counted(1, "body", "bodies"), counted(1200, "facet", "facets")
    ('1 body', '1,200 facets')
    """
    return f"{count:,} {one if count == 1 else many}"


def furnace(result: JobResult) -> str:
    """How the green part stands in the furnace, empty when no furnace was given."""
    fit = result.furnace_fit
    if fit is None:
        return ""
    turn = f", turned by {fit.turned_deg:.0f} degrees from the print" if fit.turned_deg else ""
    if not fit.fits:
        much = f"{rounded_up(-fit.spare_mm, 1)} mm too {fit.too}"
        return f"{fit.stage} it is {much} for the {result.recipe.furnace}"
    return f"fits the {result.recipe.furnace}{turn}; {fit.spare_mm:.1f} mm to spare ({fit.tight})"
