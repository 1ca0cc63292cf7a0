"""What the dimensions of large parts cost: processor time and peak memory, a process each.

    python benchmarks/dimensions_large.py

A plate of 256 like bores, one of 256 bores of which no two are alike, a ball; about 100 000 facets.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import manifold3d
import numpy as np
import trimesh

from shrinkrule import part_from_mesh
from shrinkrule.dimensions import find_dimensions

PARTS = ("256 like bores", "256 bores, all different", "ball")


def made(name: str) -> trimesh.Trimesh:
    """The part of a name, in single precision as a file has it."""
    if name == "ball":
        ball = trimesh.creation.icosphere(subdivisions=6, radius=20.0)
        vertices, facets = np.asarray(ball.vertices), np.asarray(ball.faces)
    else:
        rng = np.random.default_rng(1)
        rods = []
        for k in range(256):
            different = name != PARTS[0]
            radius = float(rng.uniform(2.0, 4.0)) if different else 3.0
            below = float(rng.uniform(-5.0, 15.0)) if different else -5.0
            at = (10.0 + 10.0 * (k % 16), 10.0 + 10.0 * (k // 16), below)
            rods.append(manifold3d.Manifold.cylinder(30.0, radius, radius, 96).translate(at))
        plate = manifold3d.Manifold.cube((170.0, 170.0, 20.0))
        plate -= manifold3d.Manifold.batch_boolean(rods, manifold3d.OpType.Add)
        mesh = plate.to_mesh()
        vertices, facets = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)
    single = vertices.astype(np.float32).astype(np.float64)
    return trimesh.Trimesh(single, facets.astype(np.int64), process=True)


def measured(name: str) -> dict[str, Any]:
    """Facets, dimensions, seconds of the processor, peak memory in MB; of this process."""
    part = part_from_mesh(made(name))
    find_dimensions(part_from_mesh(trimesh.creation.box((3.0, 4.0, 5.0))))
    began = time.process_time()
    found = find_dimensions(part)
    seconds = time.process_time() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return {
        "facets": len(part.mesh.faces),
        "listed": len(found.every),
        "seconds": seconds,
        "peak_mb": peak,
    }


def page() -> Iterator[str]:
    """Lines for the results page."""
    yield "| part | facets | listed | processor, s | peak memory, MB |"
    yield "| --- | --- | --- | --- | --- |"
    for name in PARTS:
        run = [sys.executable, __file__, name]
        one = json.loads(subprocess.run(run, check=True, capture_output=True, text=True).stdout)
        yield (
            f"| {name} | {one['facets']} | {one['listed']} | {one['seconds']:.1f} "
            f"| {one['peak_mb']:.0f} |"
        )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        print(json.dumps(measured(sys.argv[1])))
    else:
        print("\n".join(page()))
