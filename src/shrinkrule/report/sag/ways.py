"""The six ways up as a page: each drawn, with what firing and printing that way would do."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from shrinkrule.calibration import CalibrationRow
from shrinkrule.cautions import CAUTIONS
from shrinkrule.files import OutputSet, require_place
from shrinkrule.files.templates import environment
from shrinkrule.job import WayLook
from shrinkrule.mesh import Part
from shrinkrule.report.foundation import program
from shrinkrule.report.sag.pictures import way_pictures
from shrinkrule.report.words import sure_decimals


def way_cells(look: WayLook, row: CalibrationRow) -> dict[str, str]:
    """One way up in words, for a line of a table.

    Parameters
    ----------
    look : WayLook
        The way up.
    row : CalibrationRow
        Row whose sag modulus was used: it says how many digits are known.

    Returns
    -------
    dict of str to str
        Cell by name: up, sag, sideways, height, footprint, unheld, oversize, furnace and why.
    """
    way, modulus = look.way, row.sag_modulus_kpa
    unsure = 0.0 if modulus is None else 1.0 - 1.0 / modulus.factor()
    sag = sideways = "-"
    if way.stands:
        sag, sideways = (
            f"{value:.{sure_decimals(unsure * value)}f}" for value in (way.sag_mm, way.sideways_mm)
        )
    fits = "not stated" if look.fit is None else "fits" if look.fit.fits else "too large"
    return {
        "up": way.name,
        "sag": sag,
        "sideways": sideways,
        "height": f"{way.height_mm:.1f}",
        "footprint": f"{way.footprint_mm2:.0f}",
        "unheld": f"{look.unheld_mm2:.0f}",
        "oversize": ", ".join(f"{factor:.3f}" for factor in look.oversize),
        "furnace": fits,
        "why": way.reason,
    }


def ways_headline(ways: tuple[WayLook, ...]) -> str:
    """Say which way is best, or that none will do.

    Parameters
    ----------
    ways : tuple of WayLook
        The best first.

    Returns
    -------
    str
        A sentence without its full stop.
    """
    best = ways[0]
    if best.way.stands and best.fits:
        return f"best for printing and firing together: {best.way.name} up"
    return "no way up stands and fits: hold it with setter blocks"


def ways_outputs(
    part: Part,
    row: CalibrationRow,
    ways: tuple[WayLook, ...],
    matters_mm: float,
    folder: Path,
    inputs: Iterable[Path] = (),
) -> dict[str, Path]:
    """Write the page of the six ways up; return its path by kind.

    Parameters
    ----------
    part : Part
        As it was read.
    row : CalibrationRow
        Row whose sag modulus was used.
    ways : tuple of WayLook
        The best first.
    matters_mm : float
        A sag that matters, mm: a smaller one is not drawn dark.
    folder : Path
        Where to; it is made if it is not there.
    inputs : iterable of Path
        Files that must not be overwritten.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    FileError
        If the file cannot be written.
    """
    require_place(folder)
    files = {"html": folder / f"{part.source.stem}.ways-up.html"}
    pictures, swatches = way_pictures(part.mesh, ways, matters_mm)
    page = (
        environment("shrinkrule.report")
        .get_template("ways.html.j2")
        .render(
            name=part.source.name,
            row=row.name,
            headline=ways_headline(ways),
            ways=[
                {**way_cells(look, row), "pictures": pair}
                for look, pair in zip(ways, pictures, strict=True)
            ],
            swatches=swatches,
            cautions=CAUTIONS,
            program=program(),
        )
    )
    outputs = OutputSet(inputs)
    outputs.add(files["html"], page.encode())
    outputs.write()
    return files
