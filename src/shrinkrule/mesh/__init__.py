"""Mesh files and their soundness: read, inspect, mend what is safe, write."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.mesh.coloured import glb_bytes, ply_bytes
    from shrinkrule.mesh.output import OutputSet, require_folder
    from shrinkrule.mesh.part import Part, part_from_mesh, read_part
    from shrinkrule.mesh.rays import Rays
    from shrinkrule.mesh.soundness import Soundness, inspect_mesh
    from shrinkrule.mesh.write import stl_bytes

__all__ = [
    "OutputSet",
    "Part",
    "Rays",
    "Soundness",
    "glb_bytes",
    "inspect_mesh",
    "part_from_mesh",
    "ply_bytes",
    "read_part",
    "require_folder",
    "stl_bytes",
]

_MODULES: Final = {
    "OutputSet": "shrinkrule.mesh.output",
    "Part": "shrinkrule.mesh.part",
    "Rays": "shrinkrule.mesh.rays",
    "Soundness": "shrinkrule.mesh.soundness",
    "glb_bytes": "shrinkrule.mesh.coloured",
    "inspect_mesh": "shrinkrule.mesh.soundness",
    "part_from_mesh": "shrinkrule.mesh.part",
    "ply_bytes": "shrinkrule.mesh.coloured",
    "read_part": "shrinkrule.mesh.part",
    "require_folder": "shrinkrule.mesh.output",
    "stl_bytes": "shrinkrule.mesh.write",
}

__getattr__ = late_names(__name__, _MODULES)
