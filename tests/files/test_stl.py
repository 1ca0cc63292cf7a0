"""STL reading: a good file of any kind comes in whole, a bad one is refused in words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from shrinkrule.errors import FileError, SettingError
from shrinkrule.files import stl_bytes
from shrinkrule.mesh import read_part


@pytest.fixture
def cube() -> bytes:
    return stl_bytes(trimesh.creation.box((10.0, 20.0, 30.0)), "a box")


def ascii_of(mesh: trimesh.Trimesh) -> bytes:
    text = trimesh.exchange.stl.export_stl_ascii(mesh)
    return str(text).encode()


def write(folder: Path, data: bytes, name: str = "part.stl") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def test_binary_and_ascii_of_one_part_agree(tmp_path: Path, cube: bytes) -> None:
    binary = read_part(write(tmp_path, cube, "b.stl"))
    text = read_part(write(tmp_path, ascii_of(trimesh.creation.box((10.0, 20.0, 30.0))), "a.stl"))
    assert (binary.file_format, text.file_format) == ("binary STL", "ASCII STL")
    assert binary.soundness.volume_mm3 == pytest.approx(6000.0, rel=1e-6)
    assert text.soundness == binary.soundness


def test_a_binary_file_may_begin_with_solid(tmp_path: Path, cube: bytes) -> None:
    part = read_part(write(tmp_path, b"solid facet".ljust(80) + cube[80:]))
    assert part.file_format == "binary STL"
    assert part.soundness.facets == 12


def test_our_own_header_never_begins_with_solid() -> None:
    data = stl_bytes(trimesh.creation.box(), "solid gold")
    assert not data.lower().startswith(b"solid")


def test_ascii_with_several_solids_in_mixed_case(tmp_path: Path) -> None:
    first = ascii_of(trimesh.creation.box((1, 1, 1)).apply_translation((5, 0, 0)))
    second = ascii_of(trimesh.creation.box((2, 2, 2)))
    part = read_part(write(tmp_path, first + b"\n" + second.upper().replace(b"SOLID", b"Solid")))
    assert part.soundness.bodies == 2
    assert part.soundness.volume_mm3 == pytest.approx(9.0)


def test_zero_padding_is_passed_over_and_said(tmp_path: Path, cube: bytes) -> None:
    part = read_part(write(tmp_path, cube + b"\0" * 13))
    assert part.soundness.facets == 12
    assert any("13 empty bytes" in warning for warning in part.warnings)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"\0" * 40, "no STL"),
        (b"solid nothing\nendsolid nothing\n", "no facet"),
        (b"<!DOCTYPE html><html><body>not found</body></html>" * 4, "text, but not an STL"),
        (b"\x89PNG\r\n\x1a\n" + b"\0\x01\x02" * 200, "no STL"),
    ],
)
def test_foreign_files_are_refused(tmp_path: Path, data: bytes, said: str) -> None:
    with pytest.raises(FileError, match=said):
        read_part(write(tmp_path, data))


@given(cut=st.integers(1, 599))
def test_any_truncated_binary_is_refused(
    cut: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    whole = stl_bytes(trimesh.creation.box(), "box")
    path = write(tmp_path_factory.mktemp("cut"), whole[:-cut])
    with pytest.raises(FileError, match=r"cut short|no STL"):
        read_part(path)


@pytest.mark.parametrize("extra", [1, 49])
def test_facets_that_do_not_close_are_not_read_against_their_count(
    tmp_path: Path, cube: bytes, extra: int
) -> None:
    open_box = cube[:80] + (11 - extra % 9).to_bytes(4, "little") + cube[84:-50]
    with pytest.raises(FileError, match="bytes follow"):
        read_part(write(tmp_path, open_box + b"x" * extra))


def test_truncated_ascii_is_refused(tmp_path: Path) -> None:
    text = ascii_of(trimesh.creation.box())
    with pytest.raises(FileError, match=r"cut short|not an ASCII STL line|not complete"):
        read_part(write(tmp_path, text[: len(text) // 2]))


def test_a_bad_ascii_line_is_named(tmp_path: Path) -> None:
    lines = ascii_of(trimesh.creation.box()).splitlines()
    lines[3] = b"vertex 1.0 two"
    with pytest.raises(FileError, match="line 4 is not an ASCII STL line"):
        read_part(write(tmp_path, b"\n".join(lines)))


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_coordinate_that_is_no_number_is_refused_by_facet(tmp_path: Path, value: float) -> None:
    data = bytearray(stl_bytes(trimesh.creation.box(), "box"))
    start = 84 + 50 * 6 + 12
    data[start : start + 4] = np.float32(value).tobytes()
    with pytest.raises(FileError, match="facet 7 has a coordinate"):
        read_part(write(tmp_path, bytes(data)))


def test_a_count_that_overflows_32_bits_is_no_small_file(tmp_path: Path) -> None:
    """84 + 50 n wraps round in 32 bits; 85899346 facets would then look like 84 + 4 bytes."""
    data = b"x" * 80 + (85899346).to_bytes(4, "little") + b"\0" * 4
    with pytest.raises(FileError, match="promises 85899346 facets, 0 are there"):
        read_part(write(tmp_path, data))


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such file"):
        read_part(tmp_path / "none.stl")
    with pytest.raises(FileError, match="this is a folder"):
        read_part(tmp_path)


def test_units(tmp_path: Path, cube: bytes) -> None:
    path = write(tmp_path, cube)
    assert read_part(path, "in").soundness.volume_mm3 == pytest.approx(6000.0 * 25.4**3, rel=1e-6)
    with pytest.raises(SettingError, match="unknown length unit"):
        read_part(path, "furlong")


def test_an_absurd_size_names_the_units_that_make_sense(tmp_path: Path) -> None:
    path = write(tmp_path, stl_bytes(trimesh.creation.box((1.25, 0.75, 1.0)), "box"))
    (warning,) = read_part(path).warnings
    assert ", in (31.8 mm)" in warning
    assert " m (" not in warning
    assert read_part(path, "in").warnings == ()
