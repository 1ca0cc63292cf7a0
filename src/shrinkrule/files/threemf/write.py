"""3MF out: the unit, each body an object of its own, and what was decided in the metadata.

All bodies are components of one object, so that a program that lays parts out moves them
together. The package is the same to the last bit for the same mesh: it holds no clock.
Source: 3MF Core Specification 1.3, sections 3.4 (metadata), 4.1 (mesh), 4.2 (components).
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import trimesh

from shrinkrule.cells import printable
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.triangles import signed_volumes

_CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_OWN: Final = "urn:shrinkrule:green-part"
_RELATIONS: Final = "http://schemas.openxmlformats.org/package/2006/relationships"
_TYPES: Final = "http://schemas.openxmlformats.org/package/2006/content-types"
_MODEL_RELATION: Final = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_MODEL: Final = "3D/3dmodel.model"
_HEAD: Final = '<?xml version="1.0" encoding="UTF-8"?>\n'
_LONG_AGO: Final = (1980, 1, 1, 0, 0, 0)
_AT_ONCE: Final = 50_000
"""Rows written by one formatting step: enough to be quick, few enough to take no memory."""


def threemf_bytes(
    mesh: trimesh.Trimesh, name: str, metadata: Mapping[str, str], names: Sequence[str] = ()
) -> bytes:
    """3MF package of a mesh.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A surface, mm.
    name : str
        Name of the object.
    metadata : mapping of str to str
        Title, Description and Application as the specification names them; any other name
        stands in a namespace of our own.
    names : sequence of str
        Names of the bodies, as :func:`separate_bodies` sorts them; one that is empty or not given
        is the object's with the body's number.

    Returns
    -------
    bytes
        The file.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    facets = np.asarray(mesh.faces, dtype=np.int64)
    bodies = separate_bodies(vertices, facets)
    pieces = [f'{_HEAD}<model unit="millimeter" xml:lang="en" xmlns="{_CORE}" xmlns:s="{_OWN}">\n']
    for key, text in metadata.items():
        known = key in ("Title", "Description", "Application")
        pieces.append(
            f"<metadata name={quoteattr(key if known else f's:{key}')}>"
            f"{escape(printable(text))}</metadata>\n"
        )
    pieces.append("<resources>\n")
    called = printable(name)
    for number, body in enumerate(bodies, start=1):
        label = called if len(bodies) == 1 else f"{called} {number}"
        if len(names) == len(bodies):
            label = printable(names[number - 1]) or label
        pieces += _object(number, label, vertices, body)
    whole = 1
    if len(bodies) > 1:
        whole = len(bodies) + 1
        parts = "".join(f'<component objectid="{n}"/>' for n in range(1, whole))
        pieces.append(
            f'<object id="{whole}" type="model" name={quoteattr(called)}>'
            f"<components>{parts}</components></object>\n"
        )
    pieces.append(f'</resources>\n<build><item objectid="{whole}"/></build>\n</model>\n')
    types = (
        f'{_HEAD}<Types xmlns="{_TYPES}"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" '
        'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
    )
    relations = (
        f'{_HEAD}<Relationships xmlns="{_RELATIONS}">'
        f'<Relationship Target="/{_MODEL}" Id="rel0" Type="{_MODEL_RELATION}"/></Relationships>'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        for path, texts in (
            ("[Content_Types].xml", [types]),
            ("_rels/.rels", [relations]),
            (_MODEL, pieces),
        ):
            entry = zipfile.ZipInfo(path, _LONG_AGO)
            entry.compress_type = zipfile.ZIP_DEFLATED
            with package.open(entry, "w", force_zip64=True) as stream:
                for text in texts:
                    stream.write(text.encode())
    return out.getvalue()


def separate_bodies(vertices: Floats, facets: Ints) -> list[Ints]:
    """Facets of each body; all together where a cavity belongs to one, or nothing is closed.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.

    Returns
    -------
    list of (k, 3) int64
        Facets of each object that is written.
    """
    table = edge_table(facets)
    labels = table.bodies
    count = int(labels.max()) + 1
    if table.balance.any() or count == 1 or (signed_volumes(vertices, facets, labels) <= 0).any():
        return [facets]
    order = np.argsort(labels, kind="stable")
    return [facets[body] for body in np.split(order, np.cumsum(np.bincount(labels))[:-1])]


def _object(number: int, name: str, vertices: Floats, facets: Ints) -> list[str]:
    """An object of one mesh, with its vertices numbered from 0."""
    used, renumbered = np.unique(facets, return_inverse=True)
    return [
        f'<object id="{number}" type="model" name={quoteattr(name)}><mesh><vertices>\n',
        *_rows('<vertex x="%.10g" y="%.10g" z="%.10g"/>\n', vertices[used]),
        "</vertices><triangles>\n",
        *_rows('<triangle v1="%d" v2="%d" v3="%d"/>\n', renumbered.reshape(-1, 3)),
        "</triangles></mesh></object>\n",
    ]


def _rows(row: str, values: Floats | Ints) -> list[str]:
    """Rows (n, 3) as text, many in one formatting step."""
    steps = (values[start : start + _AT_ONCE] for start in range(0, len(values), _AT_ONCE))
    return [(row * len(step)) % tuple(step.ravel().tolist()) for step in steps]
