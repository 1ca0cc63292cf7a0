"""A small part made by a table's row, in a folder, and its sheet filled with readings."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from pathlib import Path

from dimensions.solids import box, mesh_of
from shrinkrule import demo_table, stl_bytes, table_csv
from shrinkrule.cli import main

ROW = "bronze demo batch 90"
SIDES_MM = (30.0, 18.0, 9.0)
FIRED = ("fired_1", "fired_2", "fired_3")
GREEN = ("green_1", "green_2", "green_3")


def make_block(folder: Path, name: str = "block", sides: tuple[float, ...] = SIDES_MM) -> None:
    """Compensate a block by the demo row, from a table in the folder, which is the current one."""
    x, y, z = sides
    (folder / f"{name}.stl").write_bytes(stl_bytes(mesh_of(box((x, y, z))), name))
    table = folder / "table.csv"
    if not table.exists():
        table.write_text(table_csv(demo_table()), encoding="utf-8")
    command = ["compensate", f"{name}.stl", "--table", "table.csv", "--row", ROW, "--no-sag"]
    command += ["--crucible", "120x80"]
    assert main(command) == 0


def rows_of(path: Path) -> list[dict[str, str]]:
    """Lines of a sheet."""
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def fill(path: Path, cells: Callable[[dict[str, str]], Mapping[str, str]]) -> None:
    """Type into a sheet what ``cells`` gives for each of its lines."""
    rows = [{**row, **cells(row)} for row in rows_of(path)]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8", newline="")
