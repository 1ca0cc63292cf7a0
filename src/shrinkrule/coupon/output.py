"""The coupon's files: one STL to print, the sheet to type into, the page for the bench."""

from __future__ import annotations

from pathlib import Path

from shrinkrule.coupon.design import Coupon
from shrinkrule.coupon.page import measuring_page_html
from shrinkrule.files import OutputSet, stl_bytes
from shrinkrule.files.output import require_plain_name
from shrinkrule.sheet import sheet_csv

Json = str | float | int | bool | None | list["Json"] | dict[str, "Json"]


def coupon_paths(folder: Path, name: str) -> dict[str, Path]:
    """Names of a coupon's files by kind: ``stl``, ``sheet`` and ``page``.

    Parameters
    ----------
    folder : Path
        Where the files go.
    name : str
        Name of the coupon.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    SettingError
        For a name that is no plain file name.
    """
    require_plain_name(name, "name")
    return {
        "stl": folder / f"{name}.stl",
        "sheet": folder / f"{name}.sheet.csv",
        "page": folder / f"{name}.page.html",
    }


def write_coupon(coupon: Coupon, paths: dict[str, Path]) -> None:
    """Write a coupon's files, all or none, over files of the same names.

    Parameters
    ----------
    coupon : Coupon
        What to write.
    paths : dict
        As from :func:`coupon_paths`.

    Raises
    ------
    FileError
        If one cannot be written; then none has been changed.
    """
    printer = coupon.plan.printer
    header = (
        f"shrinkrule calibration coupon, mm, nozzle {printer.nozzle_mm:g} "
        f"bead {printer.bead_width_mm:g} layer {printer.layer_height_mm:g}"
    )
    outputs = OutputSet()
    outputs.add(paths["stl"], stl_bytes(coupon.mesh, header))
    outputs.add(paths["sheet"], sheet_csv(list(coupon.lines)).encode())
    outputs.add(paths["page"], measuring_page_html(coupon).encode())
    outputs.write()


def coupon_dict(coupon: Coupon, paths: dict[str, Path]) -> dict[str, Json]:
    """Facts of a coupon for other programs; lengths in mm, volumes in mm3.

    Parameters
    ----------
    coupon : Coupon
        The coupon.
    paths : dict
        Path of each file that was written, by kind.

    Returns
    -------
    dict
        JSON values by name.
    """
    plan, worth = coupon.plan, coupon.worth
    return {
        "printer": {
            "nozzle_mm": plan.printer.nozzle_mm,
            "bead_width_mm": plan.printer.bead_width_mm,
            "layer_height_mm": plan.printer.layer_height_mm,
        },
        "furnace": str(plan.furnace),
        "one_load": bool(coupon.floor),
        "pieces": [
            {
                "name": piece.name,
                "printed_mm": list(piece.printed_size),
                "standing_mm": list(piece.fired_size),
                "volume_mm3": float(piece.mesh.volume),
                "rows": [dim.line.id for dim in piece.dimensions],
            }
            for piece in coupon.pieces
        ],
        "rows": [
            {
                "id": line.id,
                "kind": line.kind.value,
                "axis": line.axis,
                "unit": line.unit,
                "nominal": line.nominal,
                "thickness": line.thickness,
            }
            for line in coupon.lines
        ],
        "readings": plan.readings.value,
        "cost": {
            "rows": worth.rows,
            "print_minutes": worth.print_minutes,
            "measure_minutes": worth.measure_minutes,
            "grams": worth.grams,
        },
        "expected_half95_mm": {
            "length_of_40": worth.length_mm,
            "height_of_40": worth.height_mm,
            "bead": worth.bead_mm,
            "first_layer": worth.first_layer_mm,
        },
        "cannot_know": list(coupon.limits),
        "notes": list(coupon.notes),
        "files": {kind: path.name for kind, path in paths.items()},
    }
