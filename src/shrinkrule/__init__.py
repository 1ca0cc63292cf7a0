"""Shrinkrule: from the wanted metal part to the green part to print.

The public functions and types are imported when they are first used, so that asking
the command line for help does not load the numerical libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from shrinkrule.calibration import (
        Beyond,
        CalibrationRow,
        Estimate,
        FitResult,
        LengthEffect,
        Sheet,
        check_balance,
        demo_table,
        find_row,
        fit_sheets,
        plain_sentences,
        read_sheet,
        read_table,
        row_at_density,
        row_from_fit,
        table_csv,
    )
    from shrinkrule.compensation import (
        GreenPart,
        Prediction,
        ScaleFactors,
        fired_mesh,
        green_part,
        oversize_factor,
        predict_fired,
        shrinkage_from_density,
        way_up,
    )
    from shrinkrule.coupon import (
        Coupon,
        CouponPlan,
        design_coupon,
        measuring_page_html,
        write_coupon,
    )
    from shrinkrule.dimensions import Dimension, FoundDimensions, find_dimensions
    from shrinkrule.errors import ShrinkruleError
    from shrinkrule.files import stl_bytes
    from shrinkrule.furnace import BoxFurnace, CrucibleFurnace, fit_in_furnace
    from shrinkrule.job import JobResult, Recipe, Verdict, compensate
    from shrinkrule.mesh import Part, Soundness, inspect_mesh, part_from_mesh, read_part
    from shrinkrule.printer import Printer
    from shrinkrule.report import fit_dict, job_dict, job_outputs
    from shrinkrule.sag import (
        PrecurveResult,
        SagMaterial,
        SagResult,
        SagSettings,
        WayUp,
        precurve,
        rank_ways_up,
        refine_for_bending,
        sag_material,
        solve_sag,
        viscous_poisson,
    )
    from shrinkrule.walls import (
        Finding,
        FindingKind,
        ThicknessSamples,
        WallLimits,
        WallReport,
        check_walls,
        thickness_at,
    )

__all__ = [
    "Beyond",
    "BoxFurnace",
    "CalibrationRow",
    "Coupon",
    "CouponPlan",
    "CrucibleFurnace",
    "Dimension",
    "Estimate",
    "Finding",
    "FindingKind",
    "FitResult",
    "FoundDimensions",
    "GreenPart",
    "JobResult",
    "LengthEffect",
    "Part",
    "PrecurveResult",
    "Prediction",
    "Printer",
    "Recipe",
    "SagMaterial",
    "SagResult",
    "SagSettings",
    "ScaleFactors",
    "Sheet",
    "ShrinkruleError",
    "Soundness",
    "ThicknessSamples",
    "Verdict",
    "WallLimits",
    "WallReport",
    "WayUp",
    "check_balance",
    "check_walls",
    "compensate",
    "demo_table",
    "design_coupon",
    "find_dimensions",
    "find_row",
    "fired_mesh",
    "fit_dict",
    "fit_in_furnace",
    "fit_sheets",
    "green_part",
    "inspect_mesh",
    "job_dict",
    "job_outputs",
    "measuring_page_html",
    "oversize_factor",
    "part_from_mesh",
    "plain_sentences",
    "precurve",
    "predict_fired",
    "rank_ways_up",
    "read_part",
    "read_sheet",
    "read_table",
    "refine_for_bending",
    "row_at_density",
    "row_from_fit",
    "sag_material",
    "shrinkage_from_density",
    "solve_sag",
    "stl_bytes",
    "table_csv",
    "thickness_at",
    "viscous_poisson",
    "way_up",
    "write_coupon",
]

_ROOMS: Final = (
    "errors",
    "files",
    "furnace",
    "printer",
    "mesh",
    "walls",
    "calibration",
    "coupon",
    "compensation",
    "dimensions",
    "sag",
    "job",
    "report",
)


def __getattr__(name: str) -> object:
    if name in __all__:
        for room in _ROOMS:
            found = getattr(import_module(f"shrinkrule.{room}"), name, None)
            if found is not None:
                globals()[name] = found
                return found
    raise AttributeError(f"module 'shrinkrule' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
