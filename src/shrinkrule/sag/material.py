"""What a calibration row says of the hot body."""

from __future__ import annotations

from shrinkrule.calibration import CalibrationRow
from shrinkrule.errors import TableError
from shrinkrule.sag.settings import SagMaterial, viscous_poisson


def sag_material(row: CalibrationRow) -> SagMaterial:
    """Material of a row's fired body.

    The modulus was taken from spans in their fired size and density, so the part is
    solved in its fired size and density too.

    Parameters
    ----------
    row : CalibrationRow
        The batch.

    Raises
    ------
    TableError
        If the row lacks the sag modulus, the relative density or the metal's density.
    """
    modulus, density, metal = row.sag_modulus_kpa, row.relative_density, row.metal_density_g_cm3
    if modulus is None or density is None or metal is None:
        missing = [
            name
            for name, value in (
                ("sag_modulus_kpa", modulus),
                ("relative_density_pct", density),
                ("metal_density_g_cm3", metal),
            )
            if value is None
        ]
        raise TableError(
            f"row {row.name!r} lacks what sag needs: {', '.join(missing)}",
            mend="calibrate with the coupon's sag bars, or leave out --sag",
        )
    return SagMaterial(
        modulus_kpa=modulus.value,
        modulus_u_kpa=modulus.u,
        poisson=viscous_poisson(density.value),
        density_g_cm3=density.value * metal,
    )
