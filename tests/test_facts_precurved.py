"""A pre-curved part is printed as it lies on the bed."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import trimesh

from shrinkrule.job.run import _precurved


def of(**facts: Any) -> Any:
    return SimpleNamespace(**facts)


@pytest.mark.parametrize("lowest_mm", [-0.7, 0.0, 12.0])
def test_a_precurved_part_stands_on_the_bed(lowest_mm: float) -> None:
    """Scaled and turned into the print, it is moved down or up alone."""
    bent = trimesh.creation.icosphere(2, 5.0)
    bent.apply_translation((3.0, 40.0, lowest_mm))
    to_print = np.diag([1.1, 1.1, 1.2, 1.0])
    to_print[:3, 3] = (5.0, -3.0, 0.25)
    green = of(mesh=None, from_model=to_print)
    found = _precurved(green, of(rounds=2, mesh=bent))
    expected = np.asarray(bent.vertices) * [1.1, 1.1, 1.2] + [5.0, -3.0, 0.0]
    expected[:, 2] -= expected[:, 2].min()
    assert np.asarray(found.vertices) == pytest.approx(expected)


def test_without_a_round_of_firing_the_part_stays_as_it_is() -> None:
    part = trimesh.creation.box((1.0, 2.0, 3.0))
    green = of(mesh=part, from_model=np.eye(4))
    assert _precurved(green, None) is part
    assert _precurved(green, of(rounds=0, mesh=None)) is part
