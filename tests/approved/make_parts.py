"""The small parts whose results are approved: `python tests/approved/make_parts.py` makes them.

They are kept as files, so that another release of a library that unites solids or draws random
numbers changes no result.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import manifold3d
import numpy as np
import trimesh

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1] / "src")]


def bracket() -> manifold3d.Manifold:
    """Plate with a wall, a boss, bores, a slot, a fin of one bead, a pocket and a thin ledge."""
    from dimensions.solids import box, rod

    made = box((36, 14, 3)) + box((3, 14, 12)) + rod(9, 9, (26, 7, 0), 24)
    made += box((0.55, 8, 4), (18, 3, 3))
    for hole in (
        rod(5, 20, (26, 7, -5), 20),
        rod(3.2, 10, (12, 7, -2), 16),
        box((6, 0.9, 4), (28, 13.5, -1)),
        box((4, 4, 1.2), (5, 5, 2.2)),
    ):
        made -= hole
    return made + box((8, 5, 0.35), (33, 3, 2.65))


def bridge() -> manifold3d.Manifold:
    """Two feet of unlike width, a span and a long cantilever."""
    from dimensions.solids import box

    made = box((4, 8, 9)) + box((6, 8, 9), (24, 0, 0)) + box((30, 8, 2.2), (0, 0, 6.8))
    return made + box((9, 4, 1.8), (8, 8, 7.2))


def shaft() -> manifold3d.Manifold:
    """Stepped round with a cross bore, a keyway, a ball and a cone."""
    from dimensions.solids import box, rod

    made = rod(16, 6, (0, 0, 0), 36) + rod(10, 9, (0, 0, 6), 28) - rod(6, 8, (0, 0, -1), 18)
    made -= rod(3, 30, (0, 0, -15), 14).rotate([90, 0, 0]).translate([0, 0, 11])
    made -= box((2, 8, 4), (-1, 3.6, 12))
    made += manifold3d.Manifold.sphere(4, 20).translate([0, 0, 17])
    return made + manifold3d.Manifold.cylinder(5, 3, 0.3, 14).translate([0, 0, 20])


def tilted() -> manifold3d.Manifold:
    """A thin roof that slopes, two leaning sheets and a row of slits and pins."""
    from dimensions.solids import box, rod

    made = box((20, 14, 2))
    made += box((12, 0.5, 7)).rotate([12, 0, 0]).translate([2, 3, 1])
    made += box((12, 1.0, 7)).rotate([-20, 0, 8]).translate([2, 9, 1])
    for place in range(3):
        made += rod(0.6 + 0.3 * place, 5, (17, 3 + 4 * place, 1), 10)
    for place in range(3):
        made -= box((0.25 + 0.2 * place, 6, 3), (-1 + 1.5 * place + 3, -2, -1))
    roof = box((14, 5, 0.7)).rotate([0, 9, 0]).translate([0, -6, 4])
    return made + roof + box((3, 5, 4.2), (0, -6, 0)) + box((3, 7, 2.0), (0, -6, 0))


def two() -> manifold3d.Manifold:
    """A tray and a block that lies in it, a little above its floor."""
    from dimensions.solids import box

    tray = box((14, 12, 5)) - box((11, 9, 5), (1.5, 1.5, 2))
    return tray + box((5, 5, 4), (4.2, 3.1, 2.12))


def wedge() -> manifold3d.Manifold:
    """A sharp wedge, a tapered fin and a hollow with a thin floor, leaning."""
    hull = manifold3d.Manifold.hull_points
    made = hull([[0, 0, 0], [18, 0, 0], [0, 8, 0], [18, 8, 0], [0, 0, 6], [0, 8, 6]])
    made += hull(
        [[4, 2, 1], [4, 2.0, 9], [4, 3.2, 1], [14, 2.4, 1], [14, 2.4, 8], [14, 2.9, 1], [4, 2.6, 9]]
    )
    made -= manifold3d.Manifold.cube([4, 4, 3]).translate([1, 3.3, 0.6])
    return made.rotate([7, -4, 25])


def solids() -> Iterator[tuple[str, trimesh.Trimesh]]:
    """All parts by name."""
    from dimensions.solids import mesh_of
    from walls.planted import planted_part, sound_part

    for make in (bracket, bridge, shaft, tilted, two, wedge):
        yield make.__name__, mesh_of(make())
    found = 0
    for seed in range(3, 400, 7):
        part = planted_part(seed) if seed % 2 else sound_part(seed)
        middle = np.asarray(part.mesh.bounds).mean(axis=0)
        if len(part.mesh.faces) < 700 and np.ptp(part.mesh.bounds, axis=0).max() < 24:
            moved = part.mesh.copy()
            moved.apply_translation(-middle + (1.0, 2.0, 3.0))
            yield f"made{found}", moved
            found += 1
        if found == 5:
            return


def main() -> None:
    """Write all parts."""
    from shrinkrule import stl_bytes

    folder = HERE / "parts"
    folder.mkdir(exist_ok=True)
    for name, mesh in solids():
        (folder / f"{name}.stl").write_bytes(stl_bytes(mesh, name))


if __name__ == "__main__":
    main()
