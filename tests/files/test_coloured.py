"""Coloured meshes are read back byte by byte, and by another library."""

from __future__ import annotations

import io
import json
import struct
from typing import Any

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from shrinkrule.files import glb_bytes, ply_bytes

BOX = trimesh.creation.box((40.0, 20.0, 2.0))
VERTICES = np.asarray(BOX.vertices, dtype=np.float64) + np.array([5.0, 0.0, 1.0])
FACES = np.asarray(BOX.faces, dtype=np.int64)
COLOURS = np.linspace(0.0, 1.0, 24).reshape(8, 3)
VALUES = np.array([0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, np.nan])
PLY_TYPES = {"float": "<f4", "uchar": "u1", "int": "<i4"}


def ply_parts(data: bytes) -> tuple[list[str], NDArray[Any], NDArray[Any]]:
    """Comments, vertices and facets of a PLY, by its own head alone."""
    head, _, body = data.partition(b"end_header\n")
    lines = head.decode("ascii").splitlines()
    assert lines[:2] == ["ply", "format binary_little_endian 1.0"]
    comments = [line.removeprefix("comment ") for line in lines if line.startswith("comment")]
    counts = {words[1]: int(words[2]) for words in map(str.split, lines) if words[0] == "element"}
    fields = [
        (words[2], PLY_TYPES[words[1]])
        for words in map(str.split, lines)
        if words[0] == "property" and words[1] != "list"
    ]
    assert "property list uchar int vertex_indices" in lines
    vertices = np.frombuffer(body, np.dtype(fields), counts["vertex"])
    facet = np.dtype([("count", "u1"), ("corners", "<i4", 3)])
    facets = np.frombuffer(body, facet, counts["face"], offset=vertices.nbytes)
    assert len(body) == vertices.nbytes + facets.nbytes
    return comments, vertices, facets


def test_a_ply_holds_what_was_put_in() -> None:
    data = ply_bytes(VERTICES, FACES, COLOURS, "thickness_mm", VALUES, ("mm", "red: thin"))
    comments, vertices, facets = ply_parts(data)
    assert comments[-2:] == ["mm", "red: thin"]
    for axis, name in enumerate("xyz"):
        assert vertices[name] == pytest.approx(VERTICES[:, axis], rel=1e-7)
    assert vertices["thickness_mm"] == pytest.approx(VALUES, rel=1e-7, nan_ok=True)
    # Eight bits a channel: half a step off at most.
    shown = np.column_stack([vertices[name] for name in ("red", "green", "blue")]) / 255.0
    assert np.abs(shown - COLOURS).max() <= 0.5 / 255.0 + 1e-12
    assert (facets["count"] == 3).all()
    assert np.array_equal(facets["corners"], FACES)


def test_another_library_reads_the_ply() -> None:
    data = ply_bytes(VERTICES, FACES, COLOURS, "thickness_mm", VALUES)
    read = trimesh.load(io.BytesIO(data), file_type="ply", process=False)
    assert read.is_watertight
    assert read.volume == pytest.approx(1600.0, rel=1e-6)
    assert read.visual.kind == "vertex"


def glb_parts(data: bytes) -> tuple[dict[str, Any], bytes]:
    """Tree and buffer of a GLB, by the container's specification (glTF 2.0, section 4.4)."""
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert kind == b"JSON"
    size_of_buffer, kind = struct.unpack_from("<I4s", data, 20 + size)
    assert kind == b"BIN\0"
    start = 28 + size
    return json.loads(data[20 : 20 + size]), data[start : start + size_of_buffer]


def accessor(tree: dict[str, Any], buffer: bytes, index: int) -> NDArray[Any]:
    told = tree["accessors"][index]
    view = tree["bufferViews"][told["bufferView"]]
    kind = {5121: "u1", 5125: "<u4", 5126: "<f4"}[told["componentType"]]
    width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[told["type"]]
    start = view.get("byteOffset", 0) + told.get("byteOffset", 0)
    values = np.frombuffer(buffer, kind, told["count"] * width, start)
    return values.reshape(-1, width)


def test_a_glb_holds_what_was_put_in() -> None:
    tree, buffer = glb_parts(glb_bytes(VERTICES, FACES, COLOURS, "thickness_mm", VALUES))
    ((mesh,), (node,)) = tree["meshes"], [n for n in tree["nodes"] if "mesh" in n]
    (primitive,) = mesh["primitives"]
    named = primitive["attributes"]
    place = accessor(tree, buffer, named["POSITION"])
    assert place == pytest.approx(VERTICES, rel=1e-7)
    assert np.array_equal(accessor(tree, buffer, primitive["indices"]).reshape(-1, 3), FACES)
    # The format forbids nan: what is not known is -1.
    told = accessor(tree, buffer, named["_THICKNESS_MM"])[:, 0]
    assert told == pytest.approx([*VALUES[:-1], -1.0], rel=1e-7)
    assert tree["accessors"][named["COLOR_0"]]["normalized"]
    light = accessor(tree, buffer, named["COLOR_0"])[:, :3] / 255.0
    # Back from light to what a screen takes (IEC 61966-2-1); steps are coarse where it is dark.
    shown = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    assert np.abs(shown - COLOURS).max() < 0.03
    material = tree["materials"][primitive["material"]]
    assert material["doubleSided"]
    assert material["pbrMetallicRoughness"]["metallicFactor"] == 0.0
    # Metres, Y up (glTF 2.0, section 3.4): 40 x 2 x 20 mm as it lies.
    turn = np.array(node["matrix"]).reshape(4, 4).T
    there = VERTICES @ turn[:3, :3].T + turn[:3, 3]
    assert np.ptp(there, axis=0) == pytest.approx([0.040, 0.002, 0.020])
    assert there[:, 1].min() == pytest.approx(0.0, abs=1e-12)
    assert np.linalg.det(turn[:3, :3]) == pytest.approx(1e-9)


def test_another_library_reads_the_glb() -> None:
    data = glb_bytes(VERTICES, FACES, COLOURS, "thickness_mm", VALUES)
    scene = trimesh.load(io.BytesIO(data), file_type="glb")
    assert scene.extents == pytest.approx([0.040, 0.002, 0.020], rel=1e-6)
    (mesh,) = scene.geometry.values()
    assert len(mesh.visual.vertex_attributes["color"]) == len(mesh.vertices)
    assert len(mesh.vertex_attributes["_THICKNESS_MM"]) == len(mesh.vertices)
