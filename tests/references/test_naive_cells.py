"""Cells and the samples that represent them, against slow plain versions over single cells."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.walls.thickness.cells import WHOLE, Cells, cut_finer, cut_into_cells
from shrinkrule.walls.thickness.sampling import Sampling, finer, sample_cells

SLIVER = trimesh.Trimesh(
    [[0.0, 0, 0], [9, 0.2, 1], [4, 3, 0.5], [-2, 1, 7]], [[0, 1, 2], [0, 2, 3]]
)
BALL = trimesh.creation.icosphere(subdivisions=4, radius=3.0)
BLOCK = trimesh.creation.box((5.0, 3.0, 0.4))
MESHES = {"slivers": SLIVER, "ball": BALL, "block": BLOCK}


def corners_of(mesh: trimesh.Trimesh, cells: Cells, cell: int) -> np.ndarray:
    """Corners (k, 3) of a cell, in order around it, from what :class:`Cells` says of its halves."""
    triangle = np.asarray(mesh.triangles[cells.facets[cell]])
    if cells.halves[cell] == WHOLE:
        return triangle
    lengths = [float(np.linalg.norm(triangle[(k + 1) % 3] - triangle[k])) for k in range(3)]
    first = int(np.argmax(lengths))
    start, end, apex = (triangle[(first + k) % 3] for k in range(3))
    edge = end - start
    foot = start + float((apex - start) @ edge) / float(edge @ edge) * edge
    corner = end if cells.halves[cell] == 1 else start
    low, high, down, up = cells.blocks[cell]
    places = ((low, down), (high, down), (high, up), (low, up))
    return np.array([corner + u * ((foot - corner) + v * (apex - foot)) for u, v in places])


def area_of(corners: np.ndarray) -> float:
    """Area of a flat polygon."""
    around = corners - corners[0]
    fan = np.cross(around[1:-1], around[2:])
    return 0.5 * float(np.linalg.norm(fan.sum(axis=0)))


def judge(mesh: trimesh.Trimesh, cells: Cells) -> None:
    """Every cell's sample, area and reach are those of its corners."""
    for cell in range(len(cells.facets)):
        corners = corners_of(mesh, cells, cell)
        far = float(np.linalg.norm(corners - cells.points[cell], axis=1).max())
        assert cells.reach[cell] == pytest.approx(far, abs=1e-9)
        assert cells.area[cell] == pytest.approx(area_of(corners), abs=1e-9)
        inside = corners.min(axis=0) - 1e-9, corners.max(axis=0) + 1e-9
        assert ((cells.points[cell] >= inside[0]) & (cells.points[cell] <= inside[1])).all()


@pytest.mark.parametrize("name", MESHES)
@pytest.mark.parametrize("spacing", [0.3, 1.1])
def test_cells_are_pieces_of_their_facets(name: str, spacing: float) -> None:
    mesh = MESHES[name]
    cells = cut_into_cells(mesh, np.arange(len(mesh.faces)), spacing)
    judge(mesh, cells)
    assert cells.area.sum() == pytest.approx(mesh.area)
    chosen = np.arange(len(cells.facets)) % 3 == 0
    again = cut_finer(mesh, cells, chosen, 0.6 * spacing)
    judge(mesh, again)
    assert again.area.sum() == pytest.approx(cells.area[chosen].sum())


def judge_samples(mesh: trimesh.Trimesh, sampling: Sampling) -> None:
    """Area, reach and bend of every sample are those of the cells that it represents."""
    cells, samples = sampling.cells, sampling.samples
    normals = np.asarray(mesh.face_normals)
    for sample in range(len(samples.area)):
        own = np.flatnonzero(sampling.sample_of == sample)
        assert samples.area[sample] == pytest.approx(cells.area[own].sum())
        away = np.linalg.norm(cells.points[own] - samples.points[sample], axis=1)
        assert sampling.reach[sample] == pytest.approx((cells.reach[own] + away).max())
        cosines = normals[cells.facets[own]] @ normals[samples.facets[sample]]
        assert sampling.bend[sample] == pytest.approx(min(1.0, cosines.min()), abs=1e-9)
        # Of small cells the one nearest to the middle of its cube represents the others.
        assert away.min() == 0.0


@pytest.mark.parametrize("name", MESHES)
def test_samples_stand_for_their_cells(name: str) -> None:
    mesh = MESHES[name]
    sampling = sample_cells(mesh, 0.9)
    judge_samples(mesh, sampling)
    if name == "ball":
        assert np.bincount(sampling.sample_of).max() > 3
        assert sampling.bend.min() < 0.999
    judge_samples(mesh, finer(mesh, sampling, np.arange(0, len(sampling.reach), 2), 0.5))
