"""Bodies of one file: which finding is whose, what each weighs, and that together they are all."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

from shrinkrule import Printer, Recipe, compensate, demo_table, part_from_mesh, read_part
from shrinkrule.job import Level, look_at_bodies
from shrinkrule.mesh.bodies import mesh_from_solid

ROW = demo_table()[1]


def plate_of_three() -> trimesh.Trimesh:
    """A block with a closed hollow, a thin wall on a foot, and a plain block."""
    hollow = Manifold.cube((10, 10, 10)) - Manifold.cube((6, 6, 6)).translate((2, 2, 2))
    wall = Manifold.cube((8, 8, 2)) + Manifold.cube((8, 0.4, 6)).translate((0, 4, 1))
    plain = Manifold.cube((5, 5, 5))
    return mesh_from_solid(hollow + wall.translate((20, 0, 0)) + plain.translate((40, 0, 0)))


def test_each_finding_belongs_to_its_body() -> None:
    part = part_from_mesh(plate_of_three())
    recipe = Recipe(Printer.from_nozzle(0.6), ROW, look_at_sag=False)
    result = compensate(part, recipe)
    bodies = sorted(look_at_bodies(result), key=lambda body: body.low_mm[0])
    hollow, wall, plain = bodies
    assert [kind for kind, _ in hollow.found] == ["closed hollow"]
    assert wall.found[0] == ("thin wall", 1)
    assert plain.found == ()
    assert [body.level for body in bodies] == [Level.LOOK, Level.STOP, Level.MAKE]
    assert hollow.high_mm - hollow.low_mm == pytest.approx(np.full(3, 10.0))
    # Its hollow is taken off: 1000 - 216 of 784 + 128 + 19.2 - 3.2 + 125 mm3.
    total = 784.0 + 8 * 8 * 2 + 8 * 0.4 * 5 + 125.0
    assert hollow.share == pytest.approx(784.0 / total, rel=1e-6)
    assert sum(body.share for body in bodies) == pytest.approx(1.0)
    mass, whole = hollow.fired_mass_g, result.prediction.fired_mass_g
    assert mass is not None
    assert whole is not None
    assert mass.value == pytest.approx(whole.value * hollow.share)


def test_a_single_body_is_the_part() -> None:
    part = part_from_mesh(trimesh.creation.box((10, 10, 10)))
    result = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW, look_at_sag=False))
    assert look_at_bodies(result) == ()


def test_a_body_has_the_name_of_its_object(tmp_path: Path) -> None:
    """Two cubes of one object, each where it is placed, and a larger one without a name."""
    cube = trimesh.creation.box((4.0, 4.0, 4.0))
    corners = "".join('<vertex x="{}" y="{}" z="{}"/>'.format(*v) for v in cube.vertices)
    facets = "".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*f) for f in cube.faces)
    mesh = f"<mesh><vertices>{corners}</vertices><triangles>{facets}</triangles></mesh>"
    places = ("1 0 0 0 1 0 0 0 1 0 0 0", "1 0 0 0 1 0 0 0 1 10 0 0")
    items = "".join(f'<item objectid="1" transform="{place}"/>' for place in places)
    large = '<item objectid="2" transform="2 0 0 0 2 0 0 0 2 0 30 0"/>'
    model = (
        '<model unit="millimeter" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
        f'<object id="1" name="cam">{mesh}</object><object id="2">{mesh}</object></resources>'
        f"<build>{items}{large}</build></model>"
    )
    with zipfile.ZipFile(tmp_path / "cams.3mf", "w") as package:
        package.writestr("3D/3dmodel.model", model)
    part = read_part(tmp_path / "cams.3mf")
    result = compensate(part, Recipe(Printer.from_nozzle(0.6), ROW, look_at_sag=False))
    bodies = look_at_bodies(result)
    assert sorted(body.name for body in bodies) == ["body 1, cam", "body 2, cam", "body 3"]
    assert next(body for body in bodies if body.name == "body 3").high_mm[1] == 34.0
