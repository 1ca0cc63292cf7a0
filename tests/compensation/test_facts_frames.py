"""The green part stands in the middle of the bed, wherever its model was drawn."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule import ScaleFactors, green_part, way_up


@pytest.mark.parametrize("up", ["x", "-x", "y", "-y", "z", "-z"])
def test_it_stands_centred_on_the_bed_and_leads_back_to_the_model(up: str) -> None:
    """Drawn far off, with three unlike sides; a point of it is found where it was drawn."""
    wanted = trimesh.creation.box((30.0, 20.0, 5.0)).apply_translation((100.0, -40.0, 7.0))
    green = green_part(wanted, ScaleFactors.alike(1.2, 1.3), way_up(up))
    low, high = green.mesh.bounds
    assert low[2] == pytest.approx(0.0, abs=1e-9)
    assert (low + high)[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
    upward = {"x": 30.0, "y": 20.0, "z": 5.0}[up.removeprefix("-")]
    assert high[2] == pytest.approx(1.3 * upward)
    assert np.sort((high - low)[:2]) == pytest.approx(
        np.sort([1.2 * side for side in (30.0, 20.0, 5.0) if side != upward])
    )
    assert green.in_model(np.asarray(green.mesh.vertices)) == pytest.approx(
        np.asarray(wanted.vertices)
    )
    # Turned, not mirrored: its volume keeps its sign.
    assert green.mesh.volume == pytest.approx(wanted.volume * 1.2**2 * 1.3)
    # What points up in the model is on top of the green part.
    top = wanted.bounds.mean(axis=0) + 0.49 * way_up(up) * (30.0, 20.0, 5.0)
    there = green.from_model[:3, :3] @ top + green.from_model[:3, 3]
    assert there[2] > 0.9 * high[2]


@pytest.mark.parametrize(("degrees", "x_goes_to"), [(0, "x"), (90, "y"), (180, "-x"), (270, "-y")])
def test_a_part_turned_on_the_bed_is_not_mirrored(degrees: int, x_goes_to: str) -> None:
    """A wedge, high at its +x end: that end goes round to the left; volume keeps its sign."""
    wedge = trimesh.Trimesh(
        [(0, 0, 0), (30, 0, 0), (30, 10, 0), (0, 10, 0), (30, 0, 6), (30, 10, 6)],
        [(0, 2, 1), (0, 3, 2), (1, 2, 5), (1, 5, 4), (0, 1, 4), (3, 5, 2), (0, 4, 5), (0, 5, 3)],
    )
    assert wedge.volume == pytest.approx(900.0)
    green = green_part(wedge, ScaleFactors(1.1, 1.2, 1.3), way_up("z"), turn_deg=degrees)
    assert green.mesh.volume == pytest.approx(900.0 * 1.1 * 1.2 * 1.3)
    vertices = np.asarray(green.mesh.vertices)
    high = vertices[vertices[:, 2] > 1.0].mean(axis=0)[:2]
    length = 15.0 * (1.1 if degrees % 180 == 0 else 1.2)
    towards = {"x": (1, 0), "y": (0, 1), "-x": (-1, 0), "-y": (0, -1)}[x_goes_to]
    assert high == pytest.approx(length * np.array(towards), abs=1e-9)
