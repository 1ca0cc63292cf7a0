"""OBJ, PLY and OFF: read as the model they hold, or refused in one line."""

from __future__ import annotations

from pathlib import Path

import pytest
import trimesh

from shrinkrule.errors import FileError
from shrinkrule.mesh import read_part

BOX = trimesh.creation.box((30, 20, 5))
QUADS = (
    "v 0 0 0\nv 4 0 0\nv 4 3 0\nv 0 3 0\nv 0 0 2\nv 4 0 2\nv 4 3 2\nv 0 3 2\n"
    "usemtl /etc/passwd\nf 4/1 3/1 2/1 1/1\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\n"
    "f -6 -5 -1 -2\nf 4 1 5 8\n"
)


def written(folder: Path, name: str, data: bytes | str) -> Path:
    path = folder / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return path


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("box.ply", BOX.export(file_type="ply")),
        ("box.ply", BOX.export(file_type="ply", encoding="ascii")),
        ("box.off", BOX.export(file_type="off")),
        ("box.obj", BOX.export(file_type="obj")),
        ("named_wrongly.stl", BOX.export(file_type="ply")),
    ],
)
def test_each_format_holds_the_box(tmp_path: Path, name: str, data: bytes | str) -> None:
    part = read_part(written(tmp_path, name, data), "cm")
    assert part.mesh.extents == pytest.approx([300, 200, 50])
    assert part.trusted
    assert part.soundness.volume_mm3 == pytest.approx(3_000_000.0)
    assert part.file_format in ("PLY", "OFF", "OBJ")


def test_faces_of_four_corners_are_split_and_that_is_said(tmp_path: Path) -> None:
    """A box of 4 x 3 x 2 in six faces, one numbered from the end; no file it names is opened."""
    part = read_part(written(tmp_path, "quads.obj", QUADS))
    assert part.soundness.closed
    assert part.soundness.volume_mm3 == pytest.approx(24.0)
    assert any("split into triangles (6 more facets)" in text for text in part.warnings)


PLY = BOX.export(file_type="ply")
OFF = BOX.export(file_type="off")


@pytest.mark.parametrize(
    ("name", "data", "why"),
    [
        ("a.ply", PLY[:-20], "cut short or damaged"),
        ("a.ply", PLY.replace(b"vertex 8", b"vertex 800000000"), "do not fit into"),
        ("a.ply", b"ply\nformat ascii 1.0\nend_header\n", "no facet"),
        ("a.off", OFF[: len(OFF) // 2], "cut short or damaged"),
        ("a.off", OFF.replace("8 12 0", "8 12000000 0"), "do not fit into"),
        ("a.off", OFF.replace("\n3 ", "\n3 9", 1), "damaged|not there"),
        ("a.off", OFF.replace("-15.0000000000", "nan", 1), "not a finite number"),
        ("a.obj", "hello", "no OBJ with vertices"),
        ("a.obj", "v 0 0 0\n", "no facet"),
        ("a.obj", QUADS.replace("f 5 6 7 8", "f 5 6 7 99"), "damaged|not there"),
        ("a.obj", QUADS.replace("f 5 6 7 8", "f 5 6 7 x"), "damaged"),
        ("a.obj", "", "empty"),
    ],
)
def test_what_cannot_be_read_is_refused(
    tmp_path: Path, name: str, data: bytes | str, why: str
) -> None:
    with pytest.raises(FileError, match=why):
        read_part(written(tmp_path, name, data))
