"""3MF reading: the stated unit counts, and what is not a placed solid is refused."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
import trimesh

from shrinkrule.errors import FileError
from shrinkrule.mesh import read_part


def package(unit: str | None, size: float = 1.0) -> bytes:
    data = trimesh.Scene(trimesh.creation.box((size, size, size))).export(file_type="3mf")
    changed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(changed, "w") as new:
        for entry in old.infolist():
            content = old.read(entry)
            if entry.filename.lower().endswith("3dmodel.model"):
                content = content.replace(b'unit="millimeter"', b"")
                if unit is not None:
                    content = content.replace(b"<model ", f'<model unit="{unit}" '.encode(), 1)
            new.writestr(entry.filename, content)
    return changed.getvalue()


@pytest.mark.parametrize(
    ("unit", "side_mm"),
    [(None, 1.0), ("millimeter", 1.0), ("inch", 25.4), ("centimeter", 10.0), ("micron", 0.5)],
)
def test_the_stated_unit_counts(tmp_path: Path, unit: str | None, side_mm: float) -> None:
    """3MF Core Specification 3.4: unit is an attribute of the model, millimetre by default."""
    path = tmp_path / "box.3mf"
    path.write_bytes(package(unit, size=500.0 if unit == "micron" else 1.0))
    assert read_part(path).mesh.extents == pytest.approx([side_mm] * 3)


def test_a_unit_option_is_not_used_and_that_is_said(tmp_path: Path) -> None:
    path = tmp_path / "box.3mf"
    path.write_bytes(package("inch"))
    part = read_part(path, "mm")
    assert part.mesh.extents == pytest.approx([25.4] * 3)
    assert "the 3MF states inch" in part.warnings[0]


@pytest.mark.parametrize("data", [b"PK\x03\x04 broken", b"no zip at all"])
def test_what_is_no_package_is_refused(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "box.3mf"
    path.write_bytes(data)
    with pytest.raises(FileError, match="no readable 3MF"):
        read_part(path)


def test_a_package_without_a_model_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "box.3mf"
    with zipfile.ZipFile(path, "w") as new:
        new.writestr("readme.txt", "nothing here")
    with pytest.raises(FileError, match="no 3D model"):
        read_part(path)
