"""Local wall thickness of a part and what the nozzle can print of it."""

from shrinkrule.walls.check import WallReport, check_walls
from shrinkrule.walls.findings import Axis, Finding, FindingKind, Rule, Vector, Weight
from shrinkrule.walls.layers.check import LayerReport, layer_findings
from shrinkrule.walls.limits import WallLimits
from shrinkrule.walls.map import ThicknessMap, thickness_map
from shrinkrule.walls.shown import ShownWalls
from shrinkrule.walls.thickness.sampling import SurfaceSamples, sample_surface
from shrinkrule.walls.thickness.spheres import Status, ThicknessSamples, thickness_at
from shrinkrule.walls.thickness_scale import LegendEntry, ThicknessScale

__all__ = [
    "Axis",
    "Finding",
    "FindingKind",
    "LayerReport",
    "LegendEntry",
    "Rule",
    "ShownWalls",
    "Status",
    "SurfaceSamples",
    "ThicknessMap",
    "ThicknessSamples",
    "ThicknessScale",
    "Vector",
    "WallLimits",
    "WallReport",
    "Weight",
    "check_walls",
    "layer_findings",
    "sample_surface",
    "thickness_at",
    "thickness_map",
]
