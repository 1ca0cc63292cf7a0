"""Sag: how a part bends under its own weight while hot, and the shape that fires straight."""

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
