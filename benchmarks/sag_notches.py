"""Error of the sag of a ledge beyond a re-entrant edge, with and without the correction.

Run ``python benchmarks/sag_notches.py`` (minutes). A ledge of 2.5 mm, 1 mm thick, on either side of
a tall post, meets the post at several angles; the post's width and height put its edges at eight
places on the grid. The sag of the ledge's tip at 2, 4 and 8 bricks through the ledge is compared
with that of 12 and 18 bricks without the correction, extrapolated as an error that falls as
the brick.
"""

from __future__ import annotations

import argparse
from contextlib import nullcontext
from unittest.mock import patch

import numpy as np
import shapely
import trimesh

from shrinkrule.sag import Friction, SagMaterial, SagSettings
from shrinkrule.sag.solve import sag_on_grid
from shrinkrule.sag.voxels.grid import lay_grid

LEDGE, THICK, DEPTH = 2.5, 1.0, 0.6  # mm
POST, HEIGHT, UNDERCUT = 1.5, 1.5, 0.5  # mm: half width, height, height of the sloping part
SHIFTS = (  # mm, in width and height
    *((0, 0), (0.0625, 0), (0.1875, 0), (0, 0.125), (0, 0.1875)),
    *((0.06, 0.1), (0.12, 0.12), (0.18, 0.07)),
)
ANGLES = (225.0, 247.5, 270.0, 292.5, 315.0)  # degrees, in the material
BRICKS = (2, 4, 8)
FINE = (12, 18)


def ledges(angle: float, wider: float, higher: float) -> trimesh.Trimesh:
    """A post with ledges; ``wider`` and ``higher`` shift its edges on the grid, mm."""
    neck, top = POST + wider, HEIGHT + higher
    foot = neck + UNDERCUT * float(np.tan(np.radians(angle - 270.0)))
    half = [(foot, 0.0), (foot, top - UNDERCUT), (neck, top), (neck + LEDGE, top)]
    half.append((neck + LEDGE, top + THICK))
    outline = [*half, *((-x, z) for x, z in reversed(half))]
    solid = trimesh.creation.extrude_polygon(shapely.Polygon(outline), DEPTH)
    solid.apply_transform(
        np.array([[1, 0, 0, 0], [0, 0, 1, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=float)
    )
    solid.fix_normals()
    return solid


def tip_sag(part: trimesh.Trimesh, bricks: int, poisson: float, *, corrected: bool) -> float:
    """How far the tip of a ledge comes down, mm."""
    material = SagMaterial(100.0, 0.0, poisson, 8.0)
    settings = SagSettings(friction=Friction.DRAG)
    grid = lay_grid(part, np.eye(3), THICK / bricks, 1.0)

    unit = "shrinkrule.sag.voxels.reentrant._UNIT_TURN"  # infinite: nothing is corrected
    with nullcontext() if corrected else patch(unit, np.inf):
        field = sag_on_grid(part, grid, material, settings).field
    corner = part.bounds[1] - [0.0, 0.5 * DEPTH, THICK]
    return -float(field.at(corner[None])[0, 2])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--poisson", type=float, nargs="*", default=[0.46, 0.3])
    print("angle   nu  bricks   as they are: mean scatter   corrected: mean scatter   worst")
    for poisson in parser.parse_args().poisson:
        for angle in ANGLES:
            errors = np.empty((len(SHIFTS), len(BRICKS), 2))
            for place, (wider, higher) in enumerate(SHIFTS):
                part = ledges(angle, wider, higher)
                coarse, fine = (tip_sag(part, n, poisson, corrected=False) for n in FINE)
                limit = fine + (fine - coarse) * FINE[0] / (FINE[1] - FINE[0])
                for row, bricks in enumerate(BRICKS):
                    for column, corrected in enumerate((False, True)):
                        sag = tip_sag(part, bricks, poisson, corrected=corrected)
                        errors[place, row, column] = 100.0 * (sag / limit - 1.0)
            for row, bricks in enumerate(BRICKS):
                plain, better = errors[:, row].T
                print(
                    f"{angle:5.1f} {poisson:4.2f} {bricks:7d} {plain.mean():18.1f} %"
                    f" {plain.std():5.1f} {better.mean():18.1f} % {better.std():5.1f}"
                    f" {better[np.abs(better).argmax()]:9.1f} %",
                    flush=True,
                )


if __name__ == "__main__":
    main()
