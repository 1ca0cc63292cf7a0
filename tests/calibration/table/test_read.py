"""The calibration table: any spreadsheet's CSV comes in, a bad cell is named."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shrinkrule import CalibrationRow, Estimate, demo_table, find_row, read_table, table_csv
from shrinkrule.errors import TableError

HEADER = (
    "name,material,shrinkage_xy_pct,shrinkage_xy_u_pct,shrinkage_z_pct,shrinkage_z_u_pct,"
    "scatter_xy_pct,scatter_z_pct,longest_xy_mm,longest_z_mm,relative_density_pct,note"
)
CELLS = 'bronze 3,bronze,14.5,0.1,16,0.15,0.2,0.3,75,40,90,"first, good"'


def table(folder: Path, *lines: str, encoding: str = "utf-8") -> Path:
    path = folder / "table.csv"
    path.write_bytes("\r\n".join(lines).encode(encoding))
    return path


def test_percent_becomes_fraction(tmp_path: Path) -> None:
    (row,) = read_table(table(tmp_path, HEADER, CELLS))
    assert row.shrinkage_xy.value == pytest.approx(0.145)
    assert row.shrinkage_xy.u == pytest.approx(0.001)
    assert row.relative_density is not None
    assert row.relative_density.value == pytest.approx(0.9)
    assert row.note == "first, good"
    assert row.sag_modulus_kpa is None


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_what_spreadsheets_write(tmp_path: Path, encoding: str) -> None:
    """Semicolons, decimal commas, percent signs, byte-order marks."""
    path = table(
        tmp_path,
        HEADER.replace(",", ";"),
        "Müller 3;bronze;14,5 %;0,1;16;0,15;0,2;0,3;75;40;90;",
        encoding=encoding,
    )
    (row,) = read_table(path)
    assert row.name == "Müller 3"
    assert row.shrinkage_xy.value == pytest.approx(0.145)


@pytest.mark.parametrize(
    ("column", "cell", "said"),
    [
        ("shrinkage_xy_pct", "abc", "'abc'"),
        ("shrinkage_xy_pct", "", "is empty"),
        ("shrinkage_xy_pct", "-3", "'-3'"),
        ("shrinkage_z_pct", "160", "'160'"),
        ("shrinkage_z_u_pct", "nan", "'nan'"),
        ("longest_xy_mm", "0", "'0'"),
        ("relative_density_pct", "120", "'120'"),
        ("name", "", "is empty"),
    ],
)
def test_a_bad_cell_is_named_by_line_and_column(
    tmp_path: Path, column: str, cell: str, said: str
) -> None:
    names = HEADER.split(",")
    cells = CELLS.replace('"first, good"', "x").split(",")
    cells[names.index(column)] = cell
    path = table(tmp_path, HEADER, CELLS.replace("bronze 3", "bronze 1"), "", ",".join(cells))
    with pytest.raises(TableError) as refusal:
        read_table(path)
    assert f"line 4, column {column!r} {said if cell == '' else 'holds ' + said}" in str(
        refusal.value
    )
    assert "table.csv" in str(refusal.value)


def test_missing_unknown_and_doubled(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="column 'material' is missing"):
        read_table(table(tmp_path, "name", "x"))
    with pytest.raises(TableError, match="unknown column 'shrinkage_q_pct'"):
        read_table(table(tmp_path, HEADER + ",shrinkage_q_pct", CELLS + ",1"))
    with pytest.raises(TableError, match="line 3: the name 'bronze 3' already stands on line 2"):
        read_table(table(tmp_path, HEADER, CELLS, CELLS))
    with pytest.raises(TableError, match="more cells than the header"):
        read_table(table(tmp_path, HEADER, CELLS + ",,,7"))


@pytest.mark.parametrize("data", [b"", b"name,material\r\n", b"PK\x03\x04xxxx", b"\x00\x01\x02"])
def test_what_is_no_table(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(data)
    with pytest.raises(TableError):
        read_table(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="no such file"):
        read_table(tmp_path / "none.csv")
    with pytest.raises(TableError, match="this is a folder"):
        read_table(tmp_path)


def test_rows_are_found_by_name() -> None:
    rows = demo_table()
    assert find_row(rows, rows[2].name, "t").name == rows[2].name
    with pytest.raises(TableError, match="no row is named 'brass'"):
        find_row(rows, "brass", "t")
    with pytest.raises(TableError, match="choose one of"):
        find_row(rows, None, "t")
    assert find_row(rows[:1], None, "t") is rows[0]


def test_the_demo_table_says_that_it_is_invented() -> None:
    rows = demo_table()
    assert len({(row.material, row.relative_density) for row in rows}) == 6
    assert all("INVENTED" in row.note for row in rows)


fractions = st.floats(0.001, 0.45)
lengths = st.floats(0.1, 500.0)
texts = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=20)


@settings(max_examples=50, deadline=None)
@given(
    xy=fractions,
    z=fractions,
    u=st.floats(0, 0.02),
    longest=lengths,
    dof=st.one_of(st.just(float("inf")), st.floats(1, 200)),
    known=st.booleans(),
    offset=st.floats(-0.3, 0.3),
    note=texts,
)
def test_a_written_table_reads_back(
    xy: float,
    z: float,
    u: float,
    longest: float,
    dof: float,
    known: bool,
    offset: float,
    note: str,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    row = CalibrationRow(
        "a, b; c", "bronze", "", Estimate(xy, u), Estimate(z, u), u, u, dof, known,
        longest, longest, bead_offset_mm=Estimate(offset, u), note=note,
    )  # fmt: skip
    path = tmp_path_factory.mktemp("table") / "table.csv"
    path.write_text(table_csv((row,)), encoding="utf-8", newline="")
    (read,) = read_table(path)
    # Nine digits are written; percent and back rounds once more.
    assert read.shrinkage_xy.value == pytest.approx(xy, rel=1e-8)
    assert read.shrinkage_z.u == pytest.approx(u, rel=1e-8)
    assert read.degrees_of_freedom == pytest.approx(dof, rel=1e-8)
    assert read.bead_offset_mm is not None
    assert read.bead_offset_mm.value == pytest.approx(offset, rel=1e-8)
    assert (read.name, read.note, read.firing_scatter_known) == (row.name, note, known)
