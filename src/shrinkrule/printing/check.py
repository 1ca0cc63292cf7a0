"""All that prints badly in a green part, found from its surface within a second or so."""

from __future__ import annotations

import numpy as np
import trimesh

from shrinkrule.numerics.triangles import signed_volumes
from shrinkrule.printer import Printer
from shrinkrule.printing.findings import (
    LEAST_HOLLOW_BEADS,
    PrintFinding,
    PrintKind,
    PrintLook,
)
from shrinkrule.printing.slender import slender
from shrinkrule.printing.starts import starts_in_air
from shrinkrule.printing.surface import PrintSurface, box_about, vector
from shrinkrule.printing.undersides import undersides


def look_at_print(mesh: trimesh.Trimesh, printer: Printer) -> PrintLook:
    """Find what prints badly: starts in air, undersides, spans, slender walls, closed hollows.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The green part, a closed surface standing on z = 0 of the print frame, mm.
    printer : Printer
        Bead and layer.

    Returns
    -------
    PrintLook
        What was found, what matters most first, and what was not looked at.
    """
    surface = PrintSurface(mesh, printer.layer_height_mm)
    towers, skipped = slender(surface)
    return PrintLook(
        (
            *starts_in_air(surface),
            *undersides(surface, printer),
            *towers,
            *_hollows(surface, printer),
        ),
        skipped,
    )


def _hollows(surface: PrintSurface, printer: Printer) -> tuple[PrintFinding, ...]:
    """Closed hollows, the largest first."""
    labels = surface.edges.bodies
    volumes = signed_volumes(surface.points, surface.facets, labels)
    least = LEAST_HOLLOW_BEADS * printer.bead_width_mm**3
    found = []
    for body in np.flatnonzero(volumes < -least):
        corners = surface.points[surface.facets[labels == body]].reshape(-1, 3)
        low, high = box_about(corners)
        middle = vector(0.5 * (np.array(low) + np.array(high)))
        volume = float(-volumes[body])
        found.append(PrintFinding(PrintKind.CLOSED_HOLLOW, volume, least, middle, (low, high), 0.0))
    return tuple(sorted(found, key=lambda finding: -finding.measure))
