"""What a sag does to lengths, against displacements whose strain is known."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from dimensions.solids import box, mesh_of
from shrinkrule import find_dimensions, part_from_mesh
from shrinkrule.dimensions import Kind
from shrinkrule.job import SagLook, dimension_sags

STRAIN = np.array([0.01, 0.0, -0.02])


class Stretched:
    """Displacement of a constant strain, with a shift that lengthens nothing."""

    def at(self, points: np.ndarray[Any, np.dtype[np.float64]]) -> Any:
        return points * STRAIN + [0.0, 0.3, -1.0]


def test_a_strain_lengthens_each_length_by_its_share() -> None:
    step = box((30, 18, 9)) - box((12, 18, 4), (18, 0, 5))
    part = part_from_mesh(mesh_of(step), "step")
    found = find_dimensions(part)
    look = cast(SagLook, SimpleNamespace(estimate=SimpleNamespace(field=Stretched())))
    sags = dimension_sags(part, found, look)
    assert len(sags) == len(found.dozen)
    assert {one.kind for one in found.dozen} >= {Kind.OVERALL, Kind.WALL, Kind.STEP}
    for one, sag in zip(found.dozen, sags, strict=True):
        strain = STRAIN @ np.abs(np.array(one.direction))
        assert sag == pytest.approx(strain * one.size_mm, abs=1e-9), one
    assert set(dimension_sags(part, found, SagLook())) == {None}
    assert dimension_sags(part, None, look) == ()
