"""From a calibration row to the hot body."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from shrinkrule.calibration import demo_table
from shrinkrule.errors import TableError
from shrinkrule.sag import sag_material


def test_density_is_that_of_the_fired_body() -> None:
    row = next(row for row in demo_table() if row.name == "bronze demo batch 90")
    material = sag_material(row)
    assert material.density_g_cm3 == pytest.approx(0.90 * 8.8)
    assert material.modulus_kpa == 900.0
    assert material.modulus_u_kpa == 108.0
    # Skorohod-Olevsky at a porosity of a tenth.
    assert material.poisson == pytest.approx(0.459459, abs=1e-6)


@pytest.mark.parametrize("cell", ["sag_modulus_kpa", "relative_density", "metal_density_g_cm3"])
def test_a_row_without_sag_is_refused_by_name(cell: str) -> None:
    unknown: dict[str, Any] = {cell: None}
    lacking = replace(demo_table()[0], **unknown)
    with pytest.raises(TableError, match=cell.split("_g_")[0]):
        sag_material(lacking)
