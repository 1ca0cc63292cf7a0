"""Options that several commands share, and how they become settings."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from shrinkrule.defaults import NOZZLE_MM, THICK_MM
from shrinkrule.errors import FileError, SettingError
from shrinkrule.letters import shown
from shrinkrule.numerics.progress import Progress, silent
from shrinkrule.printer import Printer
from shrinkrule.units import parse_length

if TYPE_CHECKING:
    from shrinkrule.furnace import Furnace
    from shrinkrule.job import WallLook
    from shrinkrule.mesh import Part
    from shrinkrule.walls import WallLimits

FOUND: Final = 1
"""Exit code for a finding the user asked to fail on."""

MODEL: Final = "The model"
SHRINKAGE: Final = "Shrinkage"
PRINTER: Final = "Printer and limits"
FURNACE: Final = "Furnace"
RESULT: Final = "Result"

Model = Annotated[
    Path,
    typer.Argument(
        metavar="MODEL",
        help="Model to read: STL (binary or text) or 3MF.",
        show_default=False,
    ),
]
Unit = Annotated[
    str | None,
    typer.Option(
        metavar="UNIT",
        help="Unit of the numbers in an STL: mm, cm, m, um, in, ft. Without it: mm.",
        show_default=False,
        rich_help_panel=MODEL,
    ),
]
PrintUp = Annotated[
    str,
    typer.Option(
        metavar="AXIS",
        help="Model axis that points up in the printer: z, -z, x, -x, y, -y.",
        rich_help_panel=MODEL,
    ),
]
AllowOpen = Annotated[
    bool,
    typer.Option(
        "--allow-open",
        help="Work on a surface that is not closed, as far as it goes.",
        rich_help_panel=MODEL,
    ),
]
Unite = Annotated[
    bool,
    typer.Option(
        "--unite", help="Make one solid of bodies that share space.", rich_help_panel=MODEL
    ),
]
DEFAULT_NOZZLE: Final = f"{NOZZLE_MM:g}"
Nozzle = Annotated[
    str, typer.Option(metavar="MM", help="Bore of the nozzle.", rich_help_panel=PRINTER)
]
BeadWidth = Annotated[
    str | None,
    typer.Option(
        metavar="MM",
        help="Width of one printed line. Without it: 1.1 times the nozzle.",
        show_default=False,
        rich_help_panel=PRINTER,
    ),
]
LayerHeight = Annotated[
    str | None,
    typer.Option(
        metavar="MM",
        help="Height of one layer. Without it: half the nozzle.",
        show_default=False,
        rich_help_panel=PRINTER,
    ),
]
FloorLayers = Annotated[
    int,
    typer.Option(
        metavar="N", help="Layers that a closed floor needs.", min=1, rich_help_panel=PRINTER
    ),
]
DEFAULT_THICK: Final = f"{THICK_MM:g}"
ThickLimit = Annotated[
    str,
    typer.Option(
        metavar="MM",
        help="Thickest green section you trust to lose its binder.",
        rich_help_panel=PRINTER,
    ),
]
CouponSection = Annotated[
    str | None,
    typer.Option(
        metavar="MM",
        help="Thickest section of the green coupon that lost its binder in your process, to hold "
        "thick sections against. A table's row may hold it.",
        show_default=False,
        rich_help_panel=PRINTER,
    ),
]
Box = Annotated[
    str | None,
    typer.Option(
        metavar="LxWxH",
        help="Inside of a box-shaped chamber or sagger, mm, as 80x60x50.",
        show_default=False,
        rich_help_panel=FURNACE,
    ),
]
Crucible = Annotated[
    str | None,
    typer.Option(
        metavar="DxH",
        help="Inside of a round chamber or crucible, mm: diameter x height, as 90x60.",
        show_default=False,
        rich_help_panel=FURNACE,
    ),
]
OutDir = Annotated[
    Path | None,
    typer.Option(
        "--out",
        "-o",
        metavar="FOLDER",
        help="Folder to write to, made if needed. Without it: the current one.",
        show_default=False,
        rich_help_panel=RESULT,
    ),
]
Json = Annotated[
    bool,
    typer.Option(
        "--json", help="Print the result as JSON on standard output.", rich_help_panel=RESULT
    ),
]


def require_pass(look: WallLook) -> None:
    """End with 1, and say why on the error stream, where the wall check is not passed."""
    if why := look.why_no_pass:
        typer.echo(f"{look.part.source.name}: no pass: {why}", err=True)
        raise typer.Exit(FOUND)


FailOnThin = Annotated[
    bool,
    typer.Option(
        "--fail-on-thin",
        help="Exit with 1 if a wall, floor or pin is too thin to print, or cannot be trusted.",
        rich_help_panel=RESULT,
    ),
]


def printer_from(nozzle: str, bead_width: str | None, layer_height: str | None) -> Printer:
    """Printer from the texts of its options."""
    return Printer.from_nozzle(
        parse_length(nozzle, "--nozzle"),
        None if bead_width is None else parse_length(bead_width, "--bead-width"),
        None if layer_height is None else parse_length(layer_height, "--layer-height"),
    )


def limits_from(floor_layers: int, thick_limit: str) -> WallLimits:
    """Wall limits from the texts of their options."""
    from shrinkrule.walls import WallLimits

    return WallLimits(
        floor_layers=floor_layers, thick_mm=parse_length(thick_limit, "--thick-limit")
    )


def folder_from(out: Path | None) -> Path:
    """Folder to write to, looked at before the work and not after it."""
    from shrinkrule.files import require_place

    folder = out or Path()
    require_place(folder)
    there = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    if not os.access(there, os.W_OK | os.X_OK):
        raise FileError(
            "nothing may be written here",
            where=str(there),
            hint="name another folder with --out, or change its permissions",
        )
    return folder


def confirm(question: str, hint: str) -> None:
    """Ask, and refuse with a hint where the answer is no or nobody answers."""
    try:
        agreed = typer.confirm("\n".join(map(shown, question.splitlines())), err=True)
    except typer.Abort:
        agreed = False
    if not agreed:
        raise SettingError("nothing was written", hint=hint)


def section_from(coupon_section: str | None) -> float | None:
    """Thickest section of the coupon, mm, from the text of its option."""
    return None if coupon_section is None else parse_length(coupon_section, "--coupon-section")


def furnace_from(box: str | None, crucible: str | None) -> Furnace | None:
    """Furnace from the texts of its options; None when neither was given."""
    from shrinkrule.furnace import parse_box, parse_crucible

    if box is not None and crucible is not None:
        raise SettingError("the furnace is given twice", hint="give either --box or --crucible")
    if box is not None:
        return parse_box(box)
    return None if crucible is None else parse_crucible(crucible)


def part_from(model: Path, unit: str | None, allow_open: bool, unite: bool) -> Part:
    """Read a part and refuse what cannot be trusted, unless asked to go on."""
    from shrinkrule.mesh import read_part

    part = read_part(model, unit)
    if unite:
        part = part.united()
    if not allow_open:
        part.require_solid()
    return part


@contextmanager
def progress_bar(shown: bool) -> Iterator[Progress]:
    """Bar on standard error, with time left; gone when done. Nothing where nobody watches."""
    if not shown or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns: tuple[Any, ...] = (
        TextColumn("{task.description:<28}"),
        BarColumn(bar_width=24),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
    )
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("read", total=1.0)

        def update(stage: str, done: float) -> None:
            bar.update(task, description=stage, completed=done)

        yield update
