"""File formats, each read and written in one module; files are written all or none."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.files.coloured import glb_bytes, ply_bytes
    from shrinkrule.files.locks import held
    from shrinkrule.files.output import OutputSet, require_folder, require_place
    from shrinkrule.files.stl import stl_bytes
    from shrinkrule.files.threemf.write import threemf_bytes

__all__ = [
    "OutputSet",
    "glb_bytes",
    "held",
    "ply_bytes",
    "require_folder",
    "require_place",
    "stl_bytes",
    "threemf_bytes",
]

_MODULES: Final = {
    "OutputSet": "shrinkrule.files.output",
    "glb_bytes": "shrinkrule.files.coloured",
    "held": "shrinkrule.files.locks",
    "ply_bytes": "shrinkrule.files.coloured",
    "require_folder": "shrinkrule.files.output",
    "require_place": "shrinkrule.files.output",
    "stl_bytes": "shrinkrule.files.stl",
    "threemf_bytes": "shrinkrule.files.threemf.write",
}

__getattr__ = late_names(__name__, _MODULES)
