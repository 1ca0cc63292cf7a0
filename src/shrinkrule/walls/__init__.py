"""Local wall thickness of a part and what the nozzle can print of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.walls.check import WallReport, check_walls
    from shrinkrule.walls.findings import Axis, Finding, FindingKind, Rule, Vector, Weight
    from shrinkrule.walls.layers.check import LayerReport, layer_findings
    from shrinkrule.walls.limits import WallLimits
    from shrinkrule.walls.map import ThicknessMap, band_map, thickness_map
    from shrinkrule.walls.shown import ShownWalls
    from shrinkrule.walls.thickness.cells import SurfaceSamples
    from shrinkrule.walls.thickness.sampling import sample_surface
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
    "band_map",
    "check_walls",
    "layer_findings",
    "sample_surface",
    "thickness_at",
    "thickness_map",
]

_MODULES: Final = {
    "Axis": "shrinkrule.walls.findings",
    "Finding": "shrinkrule.walls.findings",
    "FindingKind": "shrinkrule.walls.findings",
    "LayerReport": "shrinkrule.walls.layers.check",
    "LegendEntry": "shrinkrule.walls.thickness_scale",
    "Rule": "shrinkrule.walls.findings",
    "ShownWalls": "shrinkrule.walls.shown",
    "Status": "shrinkrule.walls.thickness.spheres",
    "SurfaceSamples": "shrinkrule.walls.thickness.cells",
    "ThicknessMap": "shrinkrule.walls.map",
    "ThicknessSamples": "shrinkrule.walls.thickness.spheres",
    "ThicknessScale": "shrinkrule.walls.thickness_scale",
    "Vector": "shrinkrule.walls.findings",
    "WallLimits": "shrinkrule.walls.limits",
    "WallReport": "shrinkrule.walls.check",
    "Weight": "shrinkrule.walls.findings",
    "band_map": "shrinkrule.walls.map",
    "check_walls": "shrinkrule.walls.check",
    "layer_findings": "shrinkrule.walls.layers.check",
    "sample_surface": "shrinkrule.walls.thickness.sampling",
    "thickness_at": "shrinkrule.walls.thickness.spheres",
    "thickness_map": "shrinkrule.walls.map",
}

__getattr__ = late_names(__name__, _MODULES)
