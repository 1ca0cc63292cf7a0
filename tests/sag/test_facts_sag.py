"""What a sag solve says of itself."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from sag.solids import two_armed_lever
from shrinkrule.errors import MeshError
from shrinkrule.sag import SagMaterial, SagSettings, solve_sag
from shrinkrule.sag.fem import pcg

STIFF = SagMaterial(modulus_kpa=20_000.0, modulus_u_kpa=2_000.0, poisson=0.46, density_g_cm3=7.0)


def test_a_solve_that_stops_early_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    settings = SagSettings(brick_mm=1.0)
    whole = solve_sag(two_armed_lever(), STIFF, settings)
    assert whole.settled
    monkeypatch.setattr(pcg, "MAX_ITERATIONS", 1)
    stopped = solve_sag(two_armed_lever(), STIFF, settings)
    assert not stopped.settled
    assert any("stopped before it converged" in warning for warning in stopped.warnings)
    assert stopped.error > whole.error


def test_counts_are_those_of_the_grid() -> None:
    """Three unknowns a node, and a solid of bricks has more nodes than bricks."""
    result = solve_sag(two_armed_lever(), STIFF, SagSettings(brick_mm=1.0))
    assert result.unknowns == 3 * len(result.field.bricks.nodes)
    assert result.bricks == len(result.field.bricks.places)
    # A brick has eight corners, shared by up to eight bricks.
    assert result.bricks < result.unknowns / 3 < 8 * result.bricks


@pytest.mark.parametrize("flaw", ["open", "inside out"])
def test_a_part_without_an_inside_is_refused(flaw: str) -> None:
    box = trimesh.creation.box((10.0, 10.0, 4.0))
    faces = np.asarray(box.faces)
    faces = faces[:-1] if flaw == "open" else faces[:, ::-1]
    with pytest.raises(MeshError, match="no closed solid"):
        solve_sag(trimesh.Trimesh(box.vertices, faces, process=False), STIFF, SagSettings())
