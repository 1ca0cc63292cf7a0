"""Places in words: where each one is, how far it reaches, and what would put it right."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from shrinkrule.job import Place, Row, times
from shrinkrule.units import unit_in_mm
from shrinkrule.walls import FindingKind

TAPERED: Final = 0.05
"""Share of what a wall needs, below which it is said to taper to nothing."""


def place_text(place: Place, unit: str = "mm") -> str:
    """Where a place is, in the model's own axes, mm; in the model's unit too where it has another.

    Parameters
    ----------
    place : Place
        The place.
    unit : str
        Unit of the model.
    """
    x, y, z = place.in_model
    text = f"{x:z.1f}, {y:z.1f}, {z:z.1f}"
    if unit_in_mm(unit) == 1.0:
        return text
    x, y, z = place.in_model / unit_in_mm(unit)
    return f"{text} ({x:z.3f}, {y:z.3f}, {z:z.3f} {unit})"


def mend_text(place: Place, unit: str = "mm") -> str:
    """What would put a place right, in mm of the wanted model and in the model's own unit.

    Parameters
    ----------
    place : Place
        The place.
    unit : str
        Unit of the model.
    """
    text, size = _mend_in_mm(place), unit_in_mm(unit)
    if size == 1.0 or place.finding.kind is FindingKind.MESH_FLAW:
        return text
    numbers = [place.wanted_mm, place.needed_mm, place.sound_mm]
    own = ", ".join(f"{number / size:.3f}" for number in numbers if number is not None)
    return f"{text} ({own} {unit})"


def _mend_in_mm(place: Place) -> str:
    """What would put a place right, in mm of the wanted model."""
    now, needed = f"from {place.wanted_mm:.2f}", f"{_rounded_up(place.needed_mm):.2f}"
    if place.wanted_mm < TAPERED * place.needed_mm:
        now = "what tapers to nothing"
    match place.finding.kind:
        case FindingKind.THIN_WALL | FindingKind.THIN_PIN:
            if place.sound_mm is None or place.sound_mm <= place.needed_mm:
                return f"thicken {now}: prints from {needed} mm"
            sound = f"{_rounded_up(place.sound_mm):.2f}"
            return f"thicken {now}: prints from {needed}, sound from {sound} mm"
        case FindingKind.SINGLE_BEAD | FindingKind.SINGLE_BEAD_PIN:
            return f"thicken {now}: sound from {needed} mm"
        case FindingKind.THIN_FLOOR:
            return f"thicken {now}: closes from {needed} mm"
        case FindingKind.NARROW_GAP:
            return f"widen {now}: stays open from {needed} mm, or close it"
        case FindingKind.CLOSING_HOLE:
            return f"open {now}: stays open from {needed} mm, or drill it later"
        case FindingKind.KNIFE_EDGE:
            return f"{_loss_text(place)}: blunt it to {needed} mm, or let it go"
        case FindingKind.MESH_FLAW:
            return "nothing to print there: repair the mesh"
        case FindingKind.THICK_SECTION:
            longer = "more time"
            if place.binder_time is not None and place.binder_time > 1.0:
                longer = f"about {times(place.binder_time)} times the coupon's time"
            most = math.floor(10.0 * place.needed_mm + 1e-6) / 10.0
            return (
                f"core out from {place.wanted_mm:.1f} to {most:.1f} mm, or give its binder {longer}"
            )


def _loss_text(place: Place) -> str:
    """What an edge loses, in mm of the green part."""
    loss = place.finding.loss_mm
    return "does not print" if loss is None else f"loses {loss:.1f} mm green"


def kind_text(row: Row) -> str:
    """Kind of the places of a row, and how many they are."""
    kind = row.worst.finding.kind.value
    return kind if row.count == 1 else f"{row.count} × {kind}"


def rows_left_out(rows: Sequence[Row]) -> str:
    """How many places of which kind some rows hold.

    Parameters
    ----------
    rows : sequence of Row
        Those that are not shown one by one.
    """
    counts: dict[str, int] = {}
    for row in rows:
        kind = row.worst.finding.kind.value
        counts[kind] = counts.get(kind, 0) + row.count
    return ", ".join(f"{count} × {kind}" for kind, count in counts.items())


def _rounded_up(needed_mm: float) -> float:
    """Two decimals that still pass: a size rounded down would be found again."""
    return math.ceil(100.0 * needed_mm - 1e-6) / 100.0


def span_text(place: Place) -> str:
    """How far a place reaches along the model's own axes."""
    x, y, z = place.box_in_model[1] - place.box_in_model[0]
    return f"{x:.1f} × {y:.1f} × {z:.1f}"
