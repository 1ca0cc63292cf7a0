"""3MF against lib3mf, the format's own reference implementation: what it reads, we read alike.

Source: lib3mf of the 3MF Consortium. Development only: its native code is never let loose on a
maker's files.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import lib3mf
import numpy as np
import pytest
import trimesh

from shrinkrule.cli import main
from shrinkrule.files import stl_bytes, threemf_bytes
from shrinkrule.files.threemf.read import facets_from_3mf
from shrinkrule.mesh import read_part


def read_strictly(path: Path) -> tuple[Any, list[tuple[str, np.ndarray, np.ndarray]]]:
    """Model and placed meshes as lib3mf reads them, in its strict mode and without a warning."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    meshes = []
    objects = model.GetMeshObjects()
    while objects.MoveNext():
        item = objects.GetCurrentMeshObject()
        points = np.array([list(v.Coordinates) for v in item.GetVertices()], dtype=np.float64)
        facets = np.array([list(t.Indices) for t in item.GetTriangleIndices()], dtype=np.int64)
        meshes.append((item.GetName(), points, facets))
    return model, meshes


def two_bodies() -> trimesh.Trimesh:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=4.0).apply_translation((30, 0, 1 / 3))
    return trimesh.util.concatenate([trimesh.creation.box((10, 20, 5)), ball])


def test_the_reference_reads_what_is_written(tmp_path: Path) -> None:
    whole = two_bodies()
    data = threemf_bytes(whole, "a <b> & 'c'", {"Title": "x < y", "calibration": '{"a": 1}'})
    path = tmp_path / "out.3mf"
    path.write_bytes(data)
    model, meshes = read_strictly(path)
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert [name for name, _, _ in meshes] == ["a <b> & 'c' 1", "a <b> & 'c' 2"]
    assert [len(facets) for _, _, facets in meshes] == [12, 320]
    # lib3mf holds single precision.
    corners = np.concatenate([points[facets] for _, points, facets in meshes])
    assert corners == pytest.approx(np.asarray(whole.triangles), abs=4e-6)
    group = model.GetMetaDataGroup()
    told = {group.GetMetaData(i).GetName(): group.GetMetaData(i) for i in range(2)}
    assert told["Title"].GetValue() == "x < y"
    assert json.loads(told["calibration"].GetValue()) == {"a": 1}
    mine = facets_from_3mf(data, "out.3mf")
    assert mine.corners == pytest.approx(np.asarray(whole.triangles), abs=1e-8)
    assert mine.objects == ("a <b> & 'c' 1", "a <b> & 'c' 2")
    assert data == threemf_bytes(
        whole, "a <b> & 'c'", {"Title": "x < y", "calibration": '{"a": 1}'}
    )


def test_what_the_reference_writes_is_read_alike(tmp_path: Path) -> None:
    """Inches, components placed twice, a mirrored item: by hand 2 x 36 in3, and 36 elsewhere."""
    model = lib3mf.get_wrapper().CreateModel()
    model.SetUnit(lib3mf.ModelUnit.Inch)
    mesh = model.AddMeshObject()
    mesh.SetName("corner")
    for x, y, z in ((0, 0, 0), (6, 0, 0), (0, 6, 0), (0, 0, 6)):
        place = lib3mf.Position()
        place.Coordinates = (x, y, z)
        mesh.AddVertex(place)
    for corners in ((0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)):
        facet = lib3mf.Triangle()
        facet.Indices = corners
        mesh.AddTriangle(facet)
    wrapper = lib3mf.get_wrapper()
    pair = model.AddComponentsObject()
    pair.AddComponent(mesh, wrapper.GetTranslationTransform(0.0, 0.0, 0.0))
    pair.AddComponent(mesh, wrapper.GetTranslationTransform(10.0, 0.0, 0.0))
    model.AddBuildItem(pair, wrapper.GetIdentityTransform())
    model.AddBuildItem(mesh, wrapper.GetScaleTransform(-1.0, 1.0, 1.0))
    path = tmp_path / "reference.3mf"
    model.QueryWriter("3mf").WriteToFile(str(path))
    part = read_part(path)
    assert part.unit == "inch"
    assert part.objects == ("corner",) * 3
    assert part.soundness.volume_mm3 == pytest.approx(3 * 36 * 25.4**3)
    low, high = part.mesh.bounds / 25.4
    assert low == pytest.approx([-6, 0, 0], abs=1e-6)
    assert high == pytest.approx([16, 6, 6], abs=1e-6)


def test_a_green_3mf_has_the_size_of_the_stl_and_says_what_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("box.stl").write_bytes(stl_bytes(trimesh.creation.box((30, 20, 5)), "box"))
    asked = ["compensate", "box.stl", "--demo-table", "--no-sag"]
    assert main(asked) == 0
    assert main([*asked, "--format", "step"]) == 2
    assert "choose stl or 3mf" in capsys.readouterr().err
    assert main([*asked, "--format", "3mf", "--force"]) == 0
    assert "slice box.green.3mf" in capsys.readouterr().out
    model, meshes = read_strictly(Path("box.green.3mf"))
    (_, points, _) = meshes[0]
    stl = read_part("box.green.stl").mesh
    assert np.ptp(points, axis=0) == pytest.approx(stl.extents, rel=1e-6)
    told = json.loads(
        model.GetMetaDataGroup()
        .GetMetaDataByKey("urn:shrinkrule:green-part", "calibration")
        .GetValue()
    )
    assert told["calibration"]["row"]["name"] == "bronze demo batch 90"
    assert told["oversize"]["z"] == pytest.approx(5.952 / 5.0, abs=1e-3)
    assert main(["compensate", "box.green.3mf", "--demo-table"]) == 2
    assert "a green part already" in capsys.readouterr().err


@pytest.mark.parametrize("more", [(), ("--print-up", "x"), ("--apply-offset", "--nozzle", "0.6")])
def test_names_of_objects_are_carried_into_the_green_part(
    more: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each body keeps its own, known by its size; one without a name is called by its number."""
    monkeypatch.chdir(tmp_path)
    named = {'ring & <b> "x"': (30.0, 20.0, 6.0), "": (9.0, 8.0, 7.0), "n" * 200: (12.0, 16.0, 5.0)}
    model = lib3mf.get_wrapper().CreateModel()
    for number, (name, sides) in enumerate(named.items()):
        mesh, solid = model.AddMeshObject(), trimesh.creation.box(sides)
        mesh.SetName(name)
        for corner in solid.vertices:
            place = lib3mf.Position()
            place.Coordinates = tuple(map(float, corner))
            mesh.AddVertex(place)
        for corners in solid.faces:
            facet = lib3mf.Triangle()
            facet.Indices = tuple(map(int, corners))
            mesh.AddTriangle(facet)
        at = lib3mf.get_wrapper().GetTranslationTransform(50.0 * number, 0.0, 0.0)
        model.AddBuildItem(mesh, at)
    model.QueryWriter("3mf").WriteToFile("three.3mf")
    asked = ("compensate", "three.3mf", "--demo-table", "--row", "bronze demo batch 90")
    assert main([*asked, "--no-sag", "--format", "3mf", *more]) == 0
    _, meshes = read_strictly(Path("three.green.3mf"))
    volumes = {name: float(np.ptp(points, axis=0).prod()) for name, points, _ in meshes}
    assert set(volumes) == {'ring & <b> "x"', "three green 2", "n" * 60}
    # Enlarged by a half or so; the volumes differ by four times and more.
    assert volumes['ring & <b> "x"'] == pytest.approx(1.6 * 3600.0, rel=0.15)
    assert volumes["three green 2"] == pytest.approx(1.6 * 504.0, rel=0.15)
    assert volumes["n" * 60] == pytest.approx(1.6 * 960.0, rel=0.15)
    assert set(read_part("three.green.3mf").objects) == set(volumes)
