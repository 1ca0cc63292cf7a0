"""Coloured meshes for any viewer: PLY and GLB, with a measured value at each vertex.

PLY keeps the part's own axes and mm. GLB is a format of metres with Y up, so its one node
turns and scales the part, whose numbers inside stay mm.

Source: glTF 2.0 specification, sections 3.4 (units), 3.7.2.1 (attributes, COLOR_0 linear).
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import trimesh
from trimesh.exchange.gltf import export_glb
from trimesh.exchange.ply import export_ply

from shrinkrule.numerics.arrays import Floats, Ints

NOTHING: Final = -1.0
"""Stands in a GLB where a value is not known: the format forbids nan."""


def ply_bytes(
    vertices: Floats,
    faces: Ints,
    colours: Floats,
    name: str,
    values: Floats,
    comments: tuple[str, ...] = (),
) -> bytes:
    """Binary PLY with colours and one float property at each vertex.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    faces : (m, 3) int64
        Facets.
    colours : (n, 3) float64
        Red, green and blue, 0 to 1 (sRGB).
    name : str
        Name of the property.
    values : (n,) float64
        Its values; nan where not known.
    comments : tuple of str
        ASCII lines for the head of the file.

    Returns
    -------
    bytes
        The file.
    """
    written = export_ply(_mesh(vertices, faces, colours, {name: values}), vertex_normal=False)
    first, _, rest = written.partition(b"\nelement vertex")
    head = "".join(f"\ncomment {text}" for text in comments).encode("ascii", "replace")
    return bytes(first + head + b"\nelement vertex" + rest)


def glb_bytes(vertices: Floats, faces: Ints, colours: Floats, name: str, values: Floats) -> bytes:
    """GLB with colours and one attribute of our own at each vertex, ``_NAME``.

    Parameters
    ----------
    vertices, faces, colours, values
        As for :func:`ply_bytes`; -1 is written where a value is nan.
    name : str
        Name of the attribute, without its underscore.

    Returns
    -------
    bytes
        The file.
    """
    known = np.where(np.isnan(values), NOTHING, values)
    mesh = _mesh(vertices, faces, _linear(colours), {f"_{name.upper()}": known})
    scene = trimesh.Scene()
    scene.add_geometry(mesh, node_name="part", geom_name="part", transform=_MM_Z_UP_TO_M_Y_UP)
    return bytes(export_glb(scene, include_normals=False, tree_postprocessor=_make_matt))


_MM_Z_UP_TO_M_Y_UP: Final = np.array(
    [[1e-3, 0.0, 0.0, 0.0], [0.0, 0.0, 1e-3, 0.0], [0.0, -1e-3, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]]
)


def _mesh(
    vertices: Floats, faces: Ints, colours: Floats, attributes: dict[str, Floats]
) -> trimesh.Trimesh:
    rgba = np.full((len(vertices), 4), 255, dtype=np.uint8)
    rgba[:, :3] = np.round(255.0 * np.clip(colours, 0.0, 1.0))
    return trimesh.Trimesh(
        vertices,
        faces,
        vertex_colors=rgba,
        vertex_attributes={key: value.astype(np.float32) for key, value in attributes.items()},
        process=False,
    )


def _linear(colours: Floats) -> Floats:
    """Colours as light, which is what a GLB holds. Source: IEC 61966-2-1 (sRGB)."""
    return np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)


def _make_matt(tree: dict[str, Any]) -> None:
    """Give the part a matt surface seen from both sides: the usual one is a mirror."""
    tree["materials"] = [
        {"pbrMetallicRoughness": {"metallicFactor": 0.0, "roughnessFactor": 1.0}}
        | {"doubleSided": True}
    ]
    for mesh in tree["meshes"]:
        for primitive in mesh["primitives"]:
            primitive["material"] = 0
