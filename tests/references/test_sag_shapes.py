"""The reference solver of benchmarks/sag_shapes.py, against scikit-fem's forms and plain powers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import skfem
from sag_reference import FINER, POISSON, extrapolated, nested_dissection, stiffness
from skfem.helpers import ddot, sym_grad, trace


def energy(u: Any, v: Any, _: Any) -> Any:
    shear = 0.5 / (1.0 + POISSON)
    first = POISSON / ((1.0 + POISSON) * (1.0 - 2.0 * POISSON))
    strain, virtual = sym_grad(u), sym_grad(v)
    return 2.0 * shear * ddot(strain, virtual) + first * trace(strain) * trace(virtual)


def test_stiffness_is_that_of_the_bilinear_form() -> None:
    """Two curved bricks, all pairs of their functions; and every unknown is eliminated once."""
    mesh = skfem.MeshHex2.from_mesh(skfem.MeshHex.init_tensor([0, 1, 2.5], [0, 1], [0, 0.7]))
    places = mesh.doflocs.copy()
    places[2] += 0.1 * places[0] ** 2
    curved = skfem.MeshHex2(places, mesh.t)
    basis = skfem.Basis(curved, skfem.ElementVector(skfem.ElementHex2()), intorder=4)
    wanted = skfem.BilinearForm(energy).assemble(basis)
    assert abs(stiffness(curved, basis) - wanted).max() < 1e-12 * abs(wanted).max()
    order = nested_dissection(basis.element_dofs.T, np.array([[0.5, 0.5, 0.5], [1.7, 0.5, 0.5]]))
    assert np.array_equal(np.sort(order), np.arange(basis.N))


@pytest.mark.parametrize("order", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("lacks", [0.1, -0.1])
def test_a_power_of_the_cells_is_taken_to_its_limit(order: float, lacks: float) -> None:
    """``u = 3 + c h^p`` ends at 3; a higher order is taken for 2, a sag to and fro for 1."""
    rough, middle, fine = (3.0 + lacks * (1.0 / cells) ** order for cells in FINER)
    limit, found = extrapolated((rough, middle, fine))
    assert limit == pytest.approx(3.0, rel=1e-9)
    assert found == pytest.approx(order, abs=1e-6)
    assert extrapolated((1.0, 1.1, 1.1001))[1] == 2.0
    assert extrapolated((1.0, 1.1, 1.05))[1] == 1.0
