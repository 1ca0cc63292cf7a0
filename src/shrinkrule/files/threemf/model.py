"""One model part of a 3MF package: its objects, components and build items, checked as read."""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import IO, Any, Final

import numpy as np
from lxml import etree

from shrinkrule.cells import printable
from shrinkrule.numerics.arrays import Floats, Ints

MM_PER_UNIT: Final = {
    "micron": 1e-3,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
_KNOWN_EXTENSIONS: Final = (
    "http://schemas.microsoft.com/3dmanufacturing/core/",
    "http://schemas.microsoft.com/3dmanufacturing/production/",
    "http://schemas.microsoft.com/3dmanufacturing/material/",
    "http://schemas.3mf.io/3dmanufacturing/trianglesets/",
)
"""Those that add nothing to the shape, or whose addition is read here."""

_ENCRYPTION: Final = "http://schemas.microsoft.com/3dmanufacturing/securecontent/"
_NOT_SOLID: Final = ("support", "surface", "other")
"""Types of object that are no part of the solid (Core Specification 1.3, section 4.1)."""

_NO_PLACE: Final = np.vstack([np.eye(3), np.zeros(3)])
MAX_TEXT: Final = 60

Reference = tuple[str, int, Floats]


class ModelError(ValueError):
    """A model that cannot be read; the package's reader adds the file's name."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.hint = hint


@dataclass(frozen=True)
class Body:
    """An object: a mesh or a group of components."""

    solid: bool
    vertices: Floats
    triangles: Ints
    components: tuple[Reference, ...]
    name: str = ""


@dataclass
class Model:
    """A model part: its unit, its objects by number, what it places, and what it says it is."""

    unit: str
    description: str = ""
    objects: dict[int, Body] = field(default_factory=dict)
    items: list[Reference] = field(default_factory=list)

    def object(self, number: int) -> Body:
        """Object of a number, which must be there.

        Raises
        ------
        ModelError
            If it is missing.
        """
        if number not in self.objects:
            raise ModelError(f"object {number} is placed but missing in this package")
        return self.objects[number]


def read_model(stream: IO[bytes], name: str) -> Model:
    """Read a model part, element by element, so that its text never stands in memory as a tree.

    Parameters
    ----------
    stream : file
        The part's bytes.
    name : str
        Name of the part, for messages.

    Returns
    -------
    Model
        What it holds.

    Raises
    ------
    ModelError
        For an index out of range, a number that is none, or an unknown required extension.
    lxml.etree.XMLSyntaxError
        For text that is no XML.
    """
    events = etree.iterparse(
        stream, events=("start", "end"), resolve_entities=False, no_network=True, load_dtd=False
    )
    _, root = next(events)
    if root.getroottree().docinfo.doctype:
        raise ModelError("the model declares a document type, which 3MF forbids")
    if etree.QName(root).localname != "model":
        raise ModelError(f"{name} is no 3MF model")
    _check_extensions(root)
    model = Model(str(root.get("unit", "millimeter")))
    core = etree.QName(root).namespace
    try:
        _fill(model, events, f"{{{core}}}" if core else "")
    except (ValueError, OverflowError, TypeError) as error:
        if isinstance(error, ModelError):
            raise
        raise ModelError(f"{name} holds a value that is no number ({error})"[:120]) from error
    return model


def _check_extensions(root: Any) -> None:
    for prefix in str(root.get("requiredextensions", "")).split():
        space = str(root.nsmap.get(prefix, prefix))
        if space.startswith(_ENCRYPTION):
            raise ModelError(
                "this package is encrypted", "save it without a password or protection"
            )
        if not space.startswith(_KNOWN_EXTENSIONS):
            raise ModelError(
                f"it needs the 3MF extension {space[-MAX_TEXT:]!r}, which is not known here",
                "export it as a plain mesh, 3MF or STL",
            )


def _fill(model: Model, events: Iterator[tuple[str, Any]], core: str) -> None:
    vertices, triangles = array("d"), array("q")
    components: list[Reference] = []
    vertex, triangle, component = core + "vertex", core + "triangle", core + "component"
    item, body, lattice = core + "item", core + "object", "beamlattice"
    metadata = core + "metadata"
    number, solid, name = -1, True, ""
    for event, element in events:
        tag = element.tag
        if event == "start":
            if tag == body:
                vertices, triangles, components = array("d"), array("q"), []
                number = int(element.get("id"))
                solid = element.get("type") not in _NOT_SOLID
                name = printable(str(element.get("name", "")))[:MAX_TEXT]
            continue
        get = element.get
        if tag == vertex:
            vertices.extend((float(get("x")), float(get("y")), float(get("z"))))
        elif tag == triangle:
            triangles.extend((int(get("v1")), int(get("v2")), int(get("v3"))))
        elif tag == component:
            components.append(_reference(element))
        elif tag == item:
            model.items.append(_reference(element))
        elif tag == body:
            if number in model.objects:
                raise ModelError(f"object {number} stands twice in this package")
            body_read = _body(number, solid, vertices, triangles, tuple(components))
            model.objects[number] = replace(body_read, name=name)
        elif tag == metadata and element.get("name") == "Description":
            # The model's own stands first; those of objects come later.
            model.description = model.description or str(element.text or "")
        elif isinstance(tag, str) and tag.endswith("}" + lattice):
            raise ModelError(
                f"object {number} has a lattice of beams, which is not read here",
                "turn the lattice into a mesh and export it again",
            )
        # Elements that were read are dropped, or the tree would outgrow the mesh.
        element.clear()
        parent = element.getparent()
        if parent is not None and element.getprevious() is not None:
            del parent[0]


def _reference(element: Any) -> Reference:
    path = next((v for k, v in element.attrib.items() if k.endswith("}path")), "")
    text = element.get("transform")
    matrix = _NO_PLACE
    if text is not None:
        values = np.array([float(word) for word in text.split()])
        if values.shape != (12,) or not np.isfinite(values).all():
            raise ModelError(f"a transform is not twelve numbers ({text[:MAX_TEXT]!r})")
        matrix = values.reshape(4, 3)
        with np.errstate(all="ignore"):
            volume = np.linalg.det(matrix[:3])
        if not 0.0 < abs(volume) < np.inf:
            raise ModelError(f"a transform makes an object flat ({text[:MAX_TEXT]!r})")
    return str(path).lstrip("/").lower(), int(element.get("objectid")), matrix


def _body(
    number: int,
    solid: bool,
    vertices: array[float],
    triangles: array[int],
    components: tuple[Reference, ...],
) -> Body:
    points = np.array(vertices, dtype=np.float64).reshape(-1, 3)
    facets = np.array(triangles, dtype=np.int64).reshape(-1, 3)
    if not np.isfinite(points).all():
        bad = int(np.argmax(~np.isfinite(points).all(axis=1)))
        raise ModelError(
            f"vertex {bad} of object {number} has a coordinate that is not a finite number"
        )
    wrong = (facets < 0) | (facets >= len(points))
    if wrong.any():
        row = int(np.argmax(wrong.any(axis=1)))
        named = int(facets[row][wrong[row]][0])
        raise ModelError(
            f"triangle {row} of object {number} names vertex {named}, "
            f"but the object has {len(points)} vertices"
        )
    return Body(solid, points, facets, components)
