"""The columns of the calibration table, and what each of its cells may hold."""

from __future__ import annotations

from typing import Annotated, Final, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from shrinkrule.calibration.table.evidence import parsed_evidence
from shrinkrule.defaults import LARGEST_SHRINKAGE
from shrinkrule.files.csv_dialect import number_text


def _number(value: object) -> object:
    """A cell as ``float`` reads it."""
    return number_text(value) if isinstance(value, str) else value


def _yes(value: object) -> object:
    """Yes or no as a bool, a blank as no."""
    words = {"yes": True, "no": False, "": False}
    return words.get(value.strip().lower(), value) if isinstance(value, str) else value


def _evidence(value: str) -> str:
    """Files with their checksums, or nothing."""
    parsed_evidence(value)
    return value


_Number = BeforeValidator(_number)


Percent = Annotated[float, _Number, Field(gt=0, lt=100, allow_inf_nan=False)]


Shrinkage = Annotated[
    float, _Number, Field(ge=0, lt=100.0 * LARGEST_SHRINKAGE, allow_inf_nan=False)
]


Positive = Annotated[float, _Number, Field(gt=0, allow_inf_nan=False)]


NotNegative = Annotated[float, _Number, Field(ge=0, allow_inf_nan=False)]


Bore = Annotated[float, _Number, Field(ge=0.01, le=20.0, allow_inf_nan=False)]
"""As :class:`~shrinkrule.printer.Printer` takes it."""


Finite = Annotated[float, _Number, Field(allow_inf_nan=False)]


Count = Annotated[int, _Number, Field(ge=0)]


Name = Annotated[str, Field(min_length=1)]


class RowCells(BaseModel):
    """The cells of one row, in the units of the header. Field names are the columns."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Name
    material: Name
    process: str = ""
    relative_density_pct: Annotated[float, _Number, Field(gt=0, le=100)] | None = None
    relative_density_u_pct: NotNegative = 0.0
    shrinkage_xy_pct: Shrinkage
    shrinkage_xy_u_pct: NotNegative
    shrinkage_z_pct: Shrinkage
    shrinkage_z_u_pct: NotNegative
    scatter_xy_pct: NotNegative
    scatter_z_pct: NotNegative
    degrees_of_freedom: Positive | None = None
    firing_scatter_known: Annotated[bool, BeforeValidator(_yes)] = False
    longest_xy_mm: Positive
    longest_z_mm: Positive
    bead_offset_mm: Finite | None = None
    bead_offset_u_mm: NotNegative = 0.0
    sag_modulus_kpa: Positive | None = None
    sag_modulus_u_kpa: NotNegative = 0.0
    metal_fraction_pct: Percent | None = None
    metal_fraction_u_pct: NotNegative = 0.0
    metal_density_g_cm3: Positive | None = None
    metal_mass_share_pct: Percent | None = None
    coupons: Count = 0
    firings: Count = 0
    date: str = ""
    note: str = ""
    residual_xy_mm: NotNegative = 0.0
    residual_z_mm: NotNegative = 0.0
    intercept_xy_mm: Finite | None = None
    intercept_xy_u_mm: NotNegative = 0.0
    centre_xy_mm: Positive | None = None
    intercept_z_mm: Finite | None = None
    intercept_z_u_mm: NotNegative = 0.0
    centre_z_mm: Positive | None = None
    shrinkage_x_pct: Shrinkage | None = None
    shrinkage_x_u_pct: NotNegative | None = None
    shrinkage_y_pct: Shrinkage | None = None
    shrinkage_y_u_pct: NotNegative | None = None
    print_scale_xy_pct: Finite | None = None
    """Of tables from before X and Y had columns of their own; read for both."""
    print_scale_xy_u_pct: NotNegative = 0.0
    print_scale_x_pct: Finite | None = None
    print_scale_x_u_pct: NotNegative = 0.0
    print_scale_y_pct: Finite | None = None
    print_scale_y_u_pct: NotNegative = 0.0
    print_scale_z_pct: Finite | None = None
    print_scale_z_u_pct: NotNegative = 0.0
    mean_u_x_pct: NotNegative | None = None
    between_x_pct: NotNegative | None = None
    within_x_pct: NotNegative | None = None
    mean_u_y_pct: NotNegative | None = None
    between_y_pct: NotNegative | None = None
    within_y_pct: NotNegative | None = None
    mean_u_z_pct: NotNegative | None = None
    between_z_pct: NotNegative | None = None
    within_z_pct: NotNegative | None = None
    scatter_dof: Positive | None = None
    line_x_pct: NotNegative = 0.0
    line_y_pct: NotNegative = 0.0
    line_z_pct: NotNegative = 0.0
    residual_dof: Positive | None = None
    first_layer_mm: Finite | None = None
    first_layer_u_mm: NotNegative = 0.0
    first_layer_dof: Positive | None = None
    bore_offset_mm: Finite | None = None
    bore_offset_u_mm: NotNegative = 0.0
    bore_offset_dof: Positive | None = None
    bore_curve_mm: Finite | None = None
    bore_curve_u_mm: NotNegative = 0.0
    bore_curve_dof: Positive | None = None
    bore_at_mm: Positive | None = None
    offsets_dof: Positive | None = None
    """Of tables from before the two offsets had columns of their own; read for both."""
    sag_modulus_dof: Positive | None = None
    thickest_section_mm: Positive | None = None
    nozzle_mm: Bore | None = None
    bead_width_mm: Bore | None = None
    layer_height_mm: Bore | None = None
    first_layer_height_mm: Bore | None = None
    thinnest_wall_mm: Positive | None = None
    missing_wall_mm: Positive | None = None
    wall_coupons: Count = 0
    thinnest_floor_mm: Positive | None = None
    missing_floor_mm: Positive | None = None
    floor_coupons: Count = 0
    evidence: Annotated[str, AfterValidator(_evidence)] = ""
    left_out: str = ""
    replaced: str = ""

    @model_validator(mode="after")
    def _scatter_whole(self) -> Self:
        """Half of what makes an interval would make a wrong one."""
        for axis in ("x", "y", "z"):
            names = [f"{part}_{axis}_pct" for part in ("mean_u", "between", "within")]
            known = [getattr(self, name) is not None for name in names]
            if any(known) and not (all(known) and self.scatter_dof is not None):
                raise ValueError(f"{', '.join(names)} and scatter_dof stand together or not")
        return self

    @model_validator(mode="after")
    def _intercept_with_centre(self) -> Self:
        """An intercept without its centre length means nothing."""
        for axis in ("xy", "z"):
            intercept = getattr(self, f"intercept_{axis}_mm")
            if (intercept is None) != (getattr(self, f"centre_{axis}_mm") is None):
                raise ValueError(f"intercept_{axis}_mm and centre_{axis}_mm stand together or not")
        return self


COLUMNS: Final = tuple(RowCells.model_fields)


REQUIRED: Final = tuple(n for n, f in RowCells.model_fields.items() if f.is_required())
