"""One part in other words: turned, shifted, cut otherwise, in another unit, in another order.

None of that changes what is told of it. Few examples by default, since each is a whole job; the
variable of ``seeds.py`` asks for more.
"""

from __future__ import annotations

import datetime as dt
import functools
from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import shrinkrule.report.html
import shrinkrule.report.plain
from seeds import many_seeds
from shrinkrule import (
    CalibrationRow,
    JobResult,
    Part,
    Printer,
    Recipe,
    ScaleFactors,
    compensate,
    demo_table,
    find_row,
    inspect_mesh,
    part_from_mesh,
    read_part,
    stl_bytes,
)
from shrinkrule.compensation import green_part, way_up
from shrinkrule.files import threemf_bytes
from shrinkrule.mesh.bodies import mesh_from_solid
from shrinkrule.report import job_outputs
from shrinkrule.sag import SagSettings

WHOLE_JOBS = 12 if many_seeds() else 1
QUICK = 200 if many_seeds() else 15
ANY_TIME = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])


def bracket() -> trimesh.Trimesh:
    """A foot, a web of 2.4 mm and an arm of 3 mm that reaches out 16 mm."""
    cube = manifold3d.Manifold.cube
    web, arm = cube([2.4, 16, 20]), cube([18, 16, 3])
    return mesh_from_solid(cube([30, 16, 6]) + web.translate([8, 0, 0]) + arm.translate([8, 0, 17]))


def cut_finer(mesh: trimesh.Trimesh, times: int) -> trimesh.Trimesh:
    for _ in range(times):
        mesh = mesh.subdivide()
    return mesh


def said_otherwise(mesh: trimesh.Trimesh, seed: int, degrees: float, times: int) -> trimesh.Trimesh:
    """The part cut finer, turned about Z, shifted, its facets and vertices in another order."""
    rng = np.random.default_rng(seed)
    mesh = cut_finer(mesh.copy(), times)
    turn = trimesh.transformations.rotation_matrix(np.radians(degrees), [0, 0, 1])
    points = np.asarray(mesh.vertices) @ turn[:3, :3].T + rng.uniform(-60.0, 60.0, 3)
    to = rng.permutation(len(points))
    facets = to[np.asarray(mesh.faces)][rng.permutation(len(mesh.faces))]
    facets = np.roll(facets, rng.integers(3), axis=1)
    return trimesh.Trimesh(points[np.argsort(to)], facets, process=False)


@functools.cache
def row() -> CalibrationRow:
    return find_row(demo_table(), "bronze demo batch 90", "demo table")


def job(part: Part) -> JobResult:
    return compensate(part, Recipe(Printer.from_nozzle(0.6), row(), lies=SagSettings()))


@functools.cache
def as_drawn() -> JobResult:
    return job(part_from_mesh(bracket()))


@settings(ANY_TIME, max_examples=QUICK)
@given(seed=st.integers(0, 2**32 - 1), degrees=st.floats(0.0, 360.0), times=st.integers(0, 2))
def test_what_is_read_is_the_same_part(seed: int, degrees: float, times: int) -> None:
    """Volume to rounding: 1e-9 of it, with coordinates of 100 mm in double precision."""
    wanted = part_from_mesh(bracket())
    part = part_from_mesh(said_otherwise(bracket(), seed, degrees, times))
    assert part.trusted
    assert part.defects == wanted.defects == ()
    assert part.soundness.bodies == 1
    assert part.soundness.volume_mm3 == pytest.approx(wanted.soundness.volume_mm3, rel=1e-9)


@settings(ANY_TIME, max_examples=WHOLE_JOBS, derandomize=True)
@given(
    seed=st.integers(0, 2**32 - 1),
    degrees=st.floats(1.0, 89.0),
    times=st.integers(0, 1),
)
def test_walls_masses_and_sag_are_those_of_the_same_part(
    seed: int, degrees: float, times: int
) -> None:
    """Masses to rounding; walls to the samples' spacing, sag to its bricks: 1 and 3 % of each."""
    wanted, other = as_drawn(), job(part_from_mesh(said_otherwise(bracket(), seed, degrees, times)))
    assert other.prediction.green_volume_mm3 == pytest.approx(
        wanted.prediction.green_volume_mm3, rel=1e-9
    )
    assert other.prediction.fired_mass_g is not None
    assert wanted.prediction.fired_mass_g is not None
    assert other.prediction.fired_mass_g.value == pytest.approx(
        wanted.prediction.fired_mass_g.value, rel=1e-9
    )
    assert thinnest(other) == pytest.approx(thinnest(wanted), rel=0.01)
    assert thinnest(wanted) == pytest.approx(2.4 * 1.1703, rel=0.01)  # of the web, green
    assert sag_mm(other) == pytest.approx(sag_mm(wanted), rel=0.03)
    assert kinds(other) == kinds(wanted)
    assert inspect_mesh(other.to_slice).closed


def thinnest(result: JobResult) -> float:
    samples = result.walls.report.samples
    return float(samples.thickness[samples.is_wall].min())


def sag_mm(result: JobResult) -> float:
    assert result.sag_look.estimate is not None
    return result.sag_look.estimate.sag_mm


def kinds(result: JobResult) -> list[str]:
    return [place.finding.kind.value for place in result.walls.places]


@pytest.mark.parametrize("unit", ["um", "mm", "cm", "m", "in", "ft"])
def test_another_unit_is_the_same_part(tmp_path: Path, unit: str) -> None:
    """Single precision in the file: 1e-6 of each length, so 3e-6 of the volume."""
    per_unit = {"um": 1e-3, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}[unit]
    mesh = bracket()
    mesh.apply_scale(1.0 / per_unit)
    path = tmp_path / "part.stl"
    path.write_bytes(stl_bytes(mesh, "in another unit"))
    part = read_part(path, unit)
    assert part.soundness.volume_mm3 == pytest.approx(bracket().volume, rel=3e-6)
    assert part.trusted


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_quarter_turns_exchange_x_and_y(quarters: int) -> None:
    """A part that shrinks apart along X and Y, turned in its file or on the bed."""
    factors = ScaleFactors(1.10, 1.20, 1.15)
    mesh = bracket()
    x, y, z = mesh.extents
    if quarters % 2:
        x, y = y, x
    on_bed = green_part(mesh, factors, way_up("z"), 90 * quarters).mesh
    in_file = green_part(said_otherwise(mesh, 0, 90.0 * quarters, 0), factors, way_up("z")).mesh
    for green in (on_bed, in_file):
        assert green.extents == pytest.approx([1.10 * x, 1.20 * y, 1.15 * z], rel=1e-9)


@settings(ANY_TIME, max_examples=QUICK)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(1, 6),
    factors=st.tuples(*[st.floats(1.0, 1.4)] * 3),
)
def test_the_green_file_is_sound_whenever_the_wanted_part_is(
    tmp_path_factory: pytest.TempPathFactory,
    seed: int,
    count: int,
    factors: tuple[float, float, float],
) -> None:
    """Boxes joined and cut at random; the file holds single precision and is read back."""
    rng = np.random.default_rng(seed)
    whole = manifold3d.Manifold()
    for number in range(count):
        sides, place = rng.uniform(1.0, 30.0, 3), rng.uniform(-10.0, 10.0, 3)
        turn = rng.uniform(0.0, 360.0, 3) * rng.integers(0, 2)
        box = manifold3d.Manifold.cube(sides, True).rotate(turn).translate(place)
        whole = whole - box if number % 3 == 2 else whole + box
    if whole.volume() < 1.0:
        return
    wanted = part_from_mesh(mesh_from_solid(whole))
    assert wanted.soundness.closed
    green = green_part(wanted.mesh, ScaleFactors(*factors), way_up("z"))
    folder = tmp_path_factory.mktemp("green")
    (folder / "green.stl").write_bytes(stl_bytes(green.mesh, "green"))
    (folder / "green.3mf").write_bytes(threemf_bytes(green.mesh, "green", {}))
    expected = wanted.soundness.volume_mm3 * float(np.prod(factors))
    for name in ("green.stl", "green.3mf"):
        back = read_part(folder / name)
        assert back.soundness.closed, back.defects
        assert back.soundness.volume_mm3 == pytest.approx(expected, rel=1e-5, abs=1e-2)


class Clock(dt.datetime):
    """A clock that stands still."""

    @classmethod
    def now(cls, tz: dt.tzinfo | None = None) -> Clock:
        return cls(2026, 1, 2, 3, 4, 5, tzinfo=tz or dt.UTC)


def test_same_input_same_bytes_on_any_number_of_threads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mesh = trimesh.creation.annulus(8.0, 12.0, 6.0)
    (tmp_path / "ring.stl").write_bytes(stl_bytes(mesh, "ring"))
    recipe = replace(as_drawn().recipe, row=row(), look_at_sag=False, lies=None)
    still = type("still", (), {"datetime": Clock, "UTC": dt.UTC})
    monkeypatch.setattr(shrinkrule.report.plain, "dt", still)
    monkeypatch.setattr(shrinkrule.report.html, "dt", still)
    written = []
    for threads in (1, 20):
        monkeypatch.setattr("os.cpu_count", functools.partial(int, threads))
        result = compensate(read_part(tmp_path / "ring.stl"), recipe)
        files = job_outputs(result, tmp_path / "out")
        written.append({kind: path.read_bytes() for kind, path in files.items()})
        written[-1]["green_3mf"] = threemf_bytes(result.to_slice, "ring", {})
    for kind, data in written[0].items():
        assert data == written[1][kind], kind
