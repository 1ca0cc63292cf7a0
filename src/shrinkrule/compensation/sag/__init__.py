"""Sag: how a part bends under its own weight while hot, and the shape that fires straight."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.compensation.sag.material import (
        Base,
        Friction,
        SagMaterial,
        SagSettings,
        SupportBox,
        SupportFacets,
        viscous_poisson,
    )
    from shrinkrule.compensation.sag.plan import SagPlan, plan
    from shrinkrule.compensation.sag.precurve import PrecurveResult, Saving, precurve
    from shrinkrule.compensation.sag.result import SagResult
    from shrinkrule.compensation.sag.row_material import sag_material
    from shrinkrule.compensation.sag.solve import solve_sag
    from shrinkrule.compensation.sag.ways import WayUp, rank_ways_up
    from shrinkrule.mesh.refine import refine_for_bending

__all__ = [
    "Base",
    "Friction",
    "PrecurveResult",
    "SagMaterial",
    "SagPlan",
    "SagResult",
    "SagSettings",
    "Saving",
    "SupportBox",
    "SupportFacets",
    "WayUp",
    "plan",
    "precurve",
    "rank_ways_up",
    "refine_for_bending",
    "sag_material",
    "solve_sag",
    "viscous_poisson",
]

_MODULES: Final = {
    "Base": "shrinkrule.compensation.sag.material",
    "Friction": "shrinkrule.compensation.sag.material",
    "PrecurveResult": "shrinkrule.compensation.sag.precurve",
    "SagMaterial": "shrinkrule.compensation.sag.material",
    "SagPlan": "shrinkrule.compensation.sag.plan",
    "SagResult": "shrinkrule.compensation.sag.result",
    "SagSettings": "shrinkrule.compensation.sag.material",
    "Saving": "shrinkrule.compensation.sag.precurve",
    "SupportBox": "shrinkrule.compensation.sag.material",
    "SupportFacets": "shrinkrule.compensation.sag.material",
    "WayUp": "shrinkrule.compensation.sag.ways",
    "plan": "shrinkrule.compensation.sag.plan",
    "precurve": "shrinkrule.compensation.sag.precurve",
    "rank_ways_up": "shrinkrule.compensation.sag.ways",
    "refine_for_bending": "shrinkrule.mesh.refine",
    "sag_material": "shrinkrule.compensation.sag.row_material",
    "solve_sag": "shrinkrule.compensation.sag.solve",
    "viscous_poisson": "shrinkrule.compensation.sag.material",
}

__getattr__ = late_names(__name__, _MODULES)
