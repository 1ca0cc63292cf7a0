"""Text STL: whatever exporters write comes in whole, and what is wrong is named by its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from shrinkrule.errors import FileError
from shrinkrule.files.stl import facets_from_stl
from shrinkrule.mesh import read_part

FACET = b"""facet normal 0 0 1
 outer loop
  vertex 0 0 0
  vertex 1.5e+00 0 0
  vertex 0 -2.5E-1 0
 endloop
endfacet
"""
CORNERS = [[[0.0, 0.0, 0.0], [1.5, 0.0, 0.0], [0.0, -0.25, 0.0]]]
ONE = b"solid\n" + FACET + b"endsolid\n"


def read(data: bytes) -> NDArray[np.float32]:
    corners, file_format, _ = facets_from_stl(data, "part.stl")
    assert file_format == "ASCII STL"
    return corners


@pytest.mark.parametrize(
    "data",
    [
        ONE,
        ONE.upper(),
        ONE.replace(b"\n", b"\r\n"),
        ONE.replace(b"\n", b"\r"),
        ONE.replace(b" ", b"\t \t"),
        ONE.replace(b"\n", b"\n\n"),
        ONE.replace(b"solid\n", b"solid facet normal of 2 parts\n"),
        ONE.replace(b"solid\n", b"solid Geh\xe4use \xff\n"),
        ONE.replace(b"endsolid", b"end solid"),
        ONE.replace(b"solid\n", b"solid-7\n"),
        ONE.replace(b"0 0 1", b"-nan(ind) nan 1.#QNAN"),
        ONE.removesuffix(b"\n"),
        b"\n  " + ONE,
        b"solid empty\nendsolid empty\n" + ONE,
    ],
)
def test_one_facet_in_every_dress(data: bytes) -> None:
    np.testing.assert_array_equal(read(data), CORNERS)


def test_several_solids_come_in_order() -> None:
    second = ONE.replace(b"1.5e+00", b"7")
    corners = read(ONE + second + ONE)
    np.testing.assert_array_equal(corners[:, 1, 0], [1.5, 7.0, 1.5])


def test_a_missing_endsolid_keeps_the_facets_and_is_said() -> None:
    corners, _, notes = facets_from_stl(b"solid\n" + FACET * 2, "part.stl")
    assert len(corners) == 2
    assert notes == ("the file ends without 'endsolid': it may have been cut short",)


@pytest.mark.parametrize("cut", range(1, len(FACET) - 1))
def test_a_facet_cut_short_is_refused_by_its_number(cut: int) -> None:
    with pytest.raises(FileError, match=r"facet 3, which begins on line 16|line \d+ is "):
        read(b"solid\n" + FACET * 2 + FACET[:cut])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"vertex 0 0 0", b"vertex 0 0", "line 11 is not an ASCII STL line: 'vertex 0 0'"),
        (b"vertex 0 0 0", b"vertex 0 0 0 0", "line 11 is not"),
        (b"vertex 0 0 0", b"vertex 0 0 1_0", "line 11 is not"),
        (b"vertex 0 0 0", b"vertex 0 0 1;5", "line 11 is not"),
        (b"vertex 0 0 0", b"vertex 0 0 1.2.3", "line 11 is not"),
        (b"vertex 0 0 0", b"vertex 0 0 1e", "line 11 is not"),
        (b"vertex 0 0 0", b"vertex 0 0 .", "line 11 is not"),
        (b" outer loop\n", b"", "line 10 is out of place: 'vertex 0 0 0'"),
        (b" endloop\n", b" endfacet\n", "line 14 is out of place: 'endfacet'"),
        (b" endloop\n", b"endsolid\n", "line 14 is out of place: 'endsolid'"),
        (b"endfacet\n", b"endfacet\nendsolid\n", None),
        (b"facet normal", b"facette normal", "line 9 is not"),
    ],
)
def test_the_line_that_is_wrong_is_named(old: bytes, new: bytes, said: str | None) -> None:
    second = FACET.replace(old, new)
    if said is None:
        with pytest.raises(FileError, match="begins on line 17 belongs to no solid"):
            read(b"solid\n" + FACET + second + FACET + b"endsolid\n")
        return
    with pytest.raises(FileError, match=said):
        read(b"solid\n" + FACET + second + b"endsolid\n")


def test_words_after_the_last_solid_are_refused() -> None:
    with pytest.raises(FileError, match="line 11 is not an ASCII STL line: 'thank you'"):
        read(ONE + b"\nthank you\n")


@pytest.mark.parametrize("word", [b"nan", b"-INF", b"1e39", b"9" * 40])
def test_a_coordinate_that_is_no_float32_is_refused_by_facet(word: bytes) -> None:
    with pytest.raises(FileError, match="facet 2 has a coordinate that is not a finite number"):
        read(b"solid\n" + FACET + FACET.replace(b"1.5e+00", word) + b"endsolid\n")


@settings(deadline=None)  # the first example may have to compile
@given(
    values=st.lists(st.floats(-1e30, 1e30) | st.floats(-100.0, 100.0, width=32), min_size=1),
    form=st.sampled_from(["%.6e", "%.17g", "%.9g", "%f", "%r", "%.25f", "%+.3E"]),
)
def test_any_number_is_the_float32_that_python_makes_of_it(values: list[float], form: str) -> None:
    words = [form % value for value in values]
    facets = b"".join(FACET.replace(b"1.5e+00", word.encode()) for word in words)
    read_back = read(b"solid\n" + facets + b"endsolid\n")[:, 1, 0]
    np.testing.assert_array_equal(read_back, np.array([float(word) for word in words], np.float32))


def test_a_tie_between_two_float32_is_settled_by_the_last_digit() -> None:
    """1 + 2^-24 lies half way between two float32; 24 digits later stands what decides."""
    tie = b"1.000000059604644775390625"
    words = [tie, tie + b"1", b"1.00000005960464477", b"1.0000000596046448"]
    facets = b"".join(FACET.replace(b"1.5e+00", word) for word in words)
    expected = np.array([float(word) for word in words], np.float32)
    np.testing.assert_array_equal(read(b"solid\n" + facets + b"endsolid\n")[:, 1, 0], expected)


def test_the_note_on_a_missing_end_reaches_the_part(tmp_path: Path) -> None:
    path = tmp_path / "part.stl"
    path.write_bytes(b"solid\n" + FACET)
    assert any("endsolid" in warning for warning in read_part(path).warnings)
