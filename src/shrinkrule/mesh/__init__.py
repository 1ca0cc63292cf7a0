"""A part out of a file: how far its mesh can be trusted, what is safely repaired, and rays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.mesh.part import Part
    from shrinkrule.mesh.rays import MovedRays, Rays, rays_of
    from shrinkrule.mesh.read import part_from_mesh, read_part
    from shrinkrule.mesh.soundness import Soundness, inspect_mesh

__all__ = [
    "MovedRays",
    "Part",
    "Rays",
    "Soundness",
    "inspect_mesh",
    "part_from_mesh",
    "rays_of",
    "read_part",
]

_MODULES: Final = {
    "Part": "shrinkrule.mesh.part",
    "Rays": "shrinkrule.mesh.rays",
    "Soundness": "shrinkrule.mesh.soundness",
    "inspect_mesh": "shrinkrule.mesh.soundness",
    "part_from_mesh": "shrinkrule.mesh.read",
    "MovedRays": "shrinkrule.mesh.rays",
    "rays_of": "shrinkrule.mesh.rays",
    "read_part": "shrinkrule.mesh.read",
}

__getattr__ = late_names(__name__, _MODULES)
