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
