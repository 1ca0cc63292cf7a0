"""Mesh files and their soundness: read, inspect, mend what is safe, write."""

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
