"""The mesh that is written, looked at once more: pre-curved, or with its outlines moved.

What the straight part shows already, at the same place, is not reported a second time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.job.look import look_at_walls
from shrinkrule.job.result import WallLook, WrittenLook
from shrinkrule.numerics.progress import Progress
from shrinkrule.printing import PrintLook, look_at_print

NEAR_BEADS: Final = 2.0
"""Places are the same if their boxes are nearer than this, beside what the mesh was moved by."""


def look_at_written(
    mesh: trimesh.Trimesh,
    straight: WallLook,
    printing: PrintLook | None,
    moved_mm: float,
    progress: Progress | None = None,
) -> WrittenLook:
    """Look at walls and undersides of a mesh that differs from the straight green part.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The mesh to slice, print frame, mm.
    straight : WallLook
        The wall check of the straight part.
    printing : PrintLook or None
        What prints badly of it; None for a surface that is no sound solid.
    moved_mm : float
        How far a point was moved, at most.
    progress : callable, optional
        Called with a stage's name and the fraction done.

    Returns
    -------
    WrittenLook
        What was found beyond what the straight part shows.
    """
    walls = look_at_walls(
        straight.part,
        replace(straight.green, mesh=mesh),
        straight.printer,
        straight.limits,
        progress,
        coupon_section_mm=straight.coupon_section_mm,
    )
    reach = moved_mm + NEAR_BEADS * straight.printer.bead_width_mm
    known = [(place.finding.kind, place.finding.box) for place in straight.places]
    fresh = [p for p in walls.places if _is_new((p.finding.kind, p.finding.box), known, reach)]
    notes = [note for note in walls.report.notes if note not in straight.report.notes]
    if printing is None:
        return WrittenLook(tuple(fresh), (), tuple(notes))
    seen = [(finding.kind, finding.box) for finding in printing.findings]
    found = look_at_print(mesh, straight.printer).findings
    prints = [f for f in found if _is_new((f.kind, f.box), seen, reach)]
    return WrittenLook(tuple(fresh), tuple(prints), tuple(notes))


_Box = tuple[tuple[float, float, float], tuple[float, float, float]]


def _is_new(
    place: tuple[object, _Box], known: Iterable[tuple[object, _Box]], reach_mm: float
) -> bool:
    """Whether no place of the same kind is known within reach of this one's box."""
    kind, (low, high) = place
    return not any(
        kind == other
        and bool(np.all(np.array(low) <= np.array(there[1]) + reach_mm))
        and bool(np.all(np.array(there[0]) <= np.array(high) + reach_mm))
        for other, there in known
    )
