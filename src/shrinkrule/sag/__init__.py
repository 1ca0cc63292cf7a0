"""Sag: how a part bends under its own weight while hot, and the shape that fires straight."""

from shrinkrule.mesh.refine import refine_for_bending
from shrinkrule.sag.estimate import QUICK_UNKNOWNS, SagEstimate, estimate_sag
from shrinkrule.sag.material import SagMaterial, sag_material, viscous_poisson
from shrinkrule.sag.orientations import WayUp, rank_ways_up
from shrinkrule.sag.plan import SagPlan, plan
from shrinkrule.sag.precurve import ANOTHER_WAY, PrecurveResult, Saving, precurve
from shrinkrule.sag.result import SagResult
from shrinkrule.sag.settings import (
    DETAILS,
    Base,
    Friction,
    SagDetail,
    SagSettings,
    SupportBox,
    SupportFacets,
)
from shrinkrule.sag.steering import solve_sag

__all__ = [
    "ANOTHER_WAY",
    "DETAILS",
    "QUICK_UNKNOWNS",
    "Base",
    "Friction",
    "PrecurveResult",
    "SagDetail",
    "SagEstimate",
    "SagMaterial",
    "SagPlan",
    "SagResult",
    "SagSettings",
    "Saving",
    "SupportBox",
    "SupportFacets",
    "WayUp",
    "estimate_sag",
    "plan",
    "precurve",
    "rank_ways_up",
    "refine_for_bending",
    "sag_material",
    "solve_sag",
    "viscous_poisson",
]
