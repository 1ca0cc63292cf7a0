"""Make the sample models: parts for a small clock-and-instrument workshop.

Each has one thing worth finding. Run ``python sample_models/make_samples.py`` to write
them again beside this script; sizes are of the wanted (sintered) part.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from manifold3d import CrossSection, Manifold, Mesh64

from shrinkrule.files import stl_bytes
from shrinkrule.mesh.bodies import mesh_from_solid

SEGMENTS = 96
"""Facets round a circle: 0.05 % between chord and arc, finer than any print."""


def box(size: tuple[float, float, float], at: tuple[float, float, float]) -> Manifold:
    """Box of ``size`` (mm) with its lower corner ``at``."""
    return Manifold.cube(size).translate(at)


def rod(radius: float, length: float, at: tuple[float, float, float]) -> Manifold:
    """Upright cylinder with the centre of its foot ``at`` (mm)."""
    return Manifold.cylinder(length, radius, radius, SEGMENTS).translate(at)


def pillow_block() -> Manifold:
    """Bearing block for an 8 mm arbor: its housing is thick, and binder leaves it slowly."""
    base = box((44, 16, 6), (-22, -8, 0))
    housing = rod(13, 16, (0, 0, -8)).rotate((90, 0, 0)).translate((0, 0, 13))
    web = box((26, 16, 13), (-13, -8, 0))
    bore = rod(4, 40, (0, 0, -20)).rotate((90, 0, 0)).translate((0, 0, 16))
    bolts = rod(2.2, 20, (-17, 0, -5)) + rod(2.2, 20, (17, 0, -5))
    block = (base + housing + web) - bore - bolts
    return block.trim_by_plane((0, 0, 1), 0)


def lever_arm() -> Manifold:
    """Lever for a striking train: a long thin arm held at one end, which sags while hot."""
    hub = rod(8, 14, (0, 0, 0))
    arm = box((15, 6, 4), (6, -3, 10))
    pad = rod(3.5, 4, (21, 0, 10))
    return hub + arm + pad - rod(3, 40, (0, 0, -5))


def thin_cup() -> Manifold:
    """Oil cup: part of its wall is 0.5 mm, thinner than one bead of a 0.6 mm nozzle."""
    outside = rod(11, 18, (0, 0, 0))
    inside = rod(9.5, 30, (0, 0, 2))
    # A relief on one side leaves 0.5 mm of the 1.5 mm wall over an eighth of the turn.
    wedge = CrossSection([[(0, 0), (20, -7), (20, 7)]]).extrude(8).translate((0, 0, 7))
    relief = (rod(14, 8, (0, 0, 7)) - rod(10, 8, (0, 0, 7))) ^ wedge
    return outside - inside - relief


def gear_blank() -> Manifold:
    """Going-train wheel blank: five spokes of 1 mm, one bead wide where two are sound."""
    rim = rod(20, 3, (0, 0, 0)) - rod(16.5, 9, (0, 0, -3))
    hub = rod(5, 5, (0, 0, 0))
    spokes = [box((14, 1.0, 3), (4, -0.5, 0)).rotate((0, 0, 72 * i)) for i in range(5)]
    return sum(spokes, rim + hub) - rod(2, 20, (0, 0, -5))


def bracket_inches() -> Manifold:
    """Angle bracket drawn in inches: read as mm it would be a speck."""
    foot = box((1.25, 0.75, 0.125), (0, 0, 0))
    back = box((0.125, 0.75, 1.0), (0, 0, 0))
    hole = Manifold.cylinder(1.0, 0.09, 0.09, SEGMENTS)
    holes = hole.translate((0.9, 0.375, -0.5)) + hole.rotate((0, 90, 0)).translate(
        (-0.5, 0.375, 0.7)
    )
    return foot + back - holes


SAMPLES: dict[str, Callable[[], Manifold]] = {
    "pillow_block.stl": pillow_block,
    "lever_arm.stl": lever_arm,
    "thin_cup.stl": thin_cup,
    "gear_blank.stl": gear_blank,
    "bracket_inches.stl": bracket_inches,
}


def file_bytes(name: str) -> bytes:
    """STL bytes of one sample; the bracket is ASCII, as a drawing program might write it."""
    solid = SAMPLES[name]()
    if name != "bracket_inches.stl":
        return stl_bytes(mesh_from_solid(solid), f"shrinkrule sample {name}, mm")
    return ascii_stl(solid.to_mesh64(), name.removesuffix(".stl"))


def ascii_stl(mesh: Mesh64, name: str) -> bytes:
    """ASCII STL of a small solid."""
    corners = np.asarray(mesh.vert_properties)[:, :3][np.asarray(mesh.tri_verts)]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    lines = [f"solid {name}"]
    for normal, facet in zip(normals, corners, strict=True):
        lines += ["facet normal {:.6g} {:.6g} {:.6g}".format(*normal), "outer loop"]
        lines += ["vertex {:.7g} {:.7g} {:.7g}".format(*point) for point in facet]
        lines += ["endloop", "endfacet"]
    return ("\n".join([*lines, f"endsolid {name}"]) + "\n").encode("ascii")


def main() -> None:
    """Write every sample beside this script."""
    folder = Path(__file__).parent
    for name in SAMPLES:
        (folder / name).write_bytes(file_bytes(name))
        print(f"wrote {name}")


if __name__ == "__main__":
    main()
