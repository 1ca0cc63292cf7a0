"""Checks of what prints badly, and of sizes that cannot be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from shrinkrule.compensation import GreenPart, Prediction
from shrinkrule.job.checks import Check, Reason, State
from shrinkrule.job.recipe import Recipe
from shrinkrule.job.result import place_words
from shrinkrule.printing import PrintFinding, PrintKind, PrintLook

HEAVY_KG: Final = 1.0
"""More than a usual spool of filament holds (common practice, no source)."""

IMPOSSIBLE_KG: Final = 10.0
"""Days of printing and more than a small furnace carries: a slip of units (common practice)."""

LONGEST_MM: Final = 1000.0
"""No printer for filled filament is so large (common practice, no source)."""

GREEN_G_CM3: Final = 5.0
"""Density of a green part where the row knows none, between that of light and heavy metals: good
enough to tell grams from kilograms (common practice, no source)."""

_NAMES: Final = {
    PrintKind.STARTS_IN_AIR: "starts in air",
    PrintKind.UNHELD_UNDERSIDE: "undersides",
    PrintKind.LONG_SPAN: "spans",
    PrintKind.SLENDER: "slender walls",
    PrintKind.CLOSED_HOLLOW: "closed hollows",
}


def print_checks(look: PrintLook | None, green: GreenPart, why_not: str) -> tuple[Check, ...]:
    """One check for each kind of place that prints badly.

    Parameters
    ----------
    look : PrintLook or None
        What was found; None for a surface that is no sound solid.
    green : GreenPart
        Where it was found.
    why_not : str
        Why nothing was looked at, where that is so.

    Returns
    -------
    tuple of Check
        Each with one reason at most: how many places, and the worst of them.
    """
    if look is None:
        return tuple(Check(name, (), why_not) for name in _NAMES.values())
    checks = []
    for kind, name in _NAMES.items():
        places = [finding for finding in look.findings if finding.kind is kind]
        skipped = look.skipped if kind is PrintKind.SLENDER else ""
        checks.append(Check(name, print_reasons(places, green), skipped))
    return tuple(checks)


def print_reasons(findings: Sequence[PrintFinding], green: GreenPart) -> tuple[Reason, ...]:
    """One reason for each kind of place that prints badly.

    Parameters
    ----------
    findings : sequence of PrintFinding
        What was found.
    green : GreenPart
        Where it was found.

    Returns
    -------
    tuple of Reason
        How many places of each kind, and the worst of them.
    """
    by_kind = [[f for f in findings if f.kind is kind] for kind in _NAMES]
    return tuple(_reason(places, green) for places in by_kind if places)


def _reason(places: list[PrintFinding], green: GreenPart) -> Reason:
    """How many places of one kind there are, and what the worst of them is."""
    worst = max(places, key=lambda place: (place.area_mm2, place.measure))
    x, y, z = green.in_model(np.array([worst.position]))[0]
    count = f"{len(places)} place{'s' * (len(places) > 1)}"
    return Reason(
        State.LOOK,
        f"{worst.kind.value}: {count}, worst {worst.text}, at {place_words(np.array([x, y, z]))}",
        (float(x), float(y), float(z)),
    )


def size_check(recipe: Recipe, green: GreenPart, prediction: Prediction) -> Check:
    """Sizes that cannot be: kilograms of metal, longer than any printer, smaller than a bead.

    Parameters
    ----------
    recipe : Recipe
        The bead.
    green : GreenPart
        The part to print.
    prediction : Prediction
        Its mass and volume.

    Returns
    -------
    Check
        Fine where the size is one that is printed.
    """
    sides = np.asarray(green.mesh.extents, dtype=np.float64)
    reasons = []
    bead = recipe.printer.bead_width_mm
    if sides.max() < bead:
        reasons.append(
            Reason(
                State.STOP,
                f"the whole green part is {sides.max():.2g} mm long, less than one bead of "
                f"{bead:.2f} mm: the model's unit is another",
            )
        )
    if sides.max() > LONGEST_MM:
        reasons.append(Reason(State.STOP, f"the green part is {sides.max() / 1000.0:.1f} m long"))
    mass = prediction.green_mass_g
    grams = prediction.green_volume_mm3 * GREEN_G_CM3 / 1000.0 if mass is None else mass.value
    if math.isfinite(grams) and grams > 1000.0 * HEAVY_KG:
        state = State.STOP if grams > 1000.0 * IMPOSSIBLE_KG else State.LOOK
        about = "about " if mass is None else ""
        reasons.append(
            Reason(
                state,
                f"the green part weighs {about}{grams / 1000.0:.3g} kg, more than a spool of "
                f"{HEAVY_KG:g} kg holds",
            )
        )
    return Check("size and mass", tuple(reasons))


def bed_check(recipe: Recipe, green: GreenPart) -> Check:
    """Whether the part lies on the bed, in this turn or a quarter turn on.

    Parameters
    ----------
    recipe : Recipe
        The bed, if it was stated.
    green : GreenPart
        The part to print.

    Returns
    -------
    Check
        A stop where it does not.
    """
    if recipe.bed_mm is None:
        return Check("bed", (), "its size is not stated")
    x, y, z = np.asarray(green.mesh.extents, dtype=np.float64)
    length, width, height = recipe.bed_mm
    lies = max(x, y) <= max(length, width) and min(x, y) <= min(length, width)
    if lies and z <= height:
        return Check("bed")
    text = (
        f"the green part is {x:.1f} x {y:.1f} x {z:.1f} mm, larger than the bed of "
        f"{length:g} x {width:g} x {height:g} mm"
    )
    return Check("bed", (Reason(State.STOP, text),))
