"""Options that several commands share, and how they become settings."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from shrinkrule.cells import printable
from shrinkrule.defaults import CLOSED_FLOOR_LAYERS, NOZZLE_MM, THICK_MM
from shrinkrule.errors import FileError, Option, SettingError
from shrinkrule.numerics.progress import Progress, silent

if TYPE_CHECKING:
    from rich.console import Console

    from shrinkrule.job import WallLook
    from shrinkrule.mesh import Part
    from shrinkrule.settings import Settings

FOUND: Final = 1
"""Exit code for a finding the user asked to fail on."""

FLAGS: Final = {
    Option.TABLE: "--table",
    Option.ROW: "--row",
    Option.DENSITY: "--density",
    Option.EXTRAPOLATE: "--extrapolate",
    Option.SCALE: "--scale-xy, --scale-z",
    Option.OUTLINE: "--apply-offset",
    Option.SAG: "--sag",
    Option.NO_SAG: "--no-sag",
    Option.FURNACE_UP: "--furnace-up; the command ways-up ranks them",
    Option.OPEN: "--allow-open",
    Option.UNITE: "--unite",
    Option.KEEP: "--keep-bodies",
    Option.AGAIN: "--green-again",
    Option.CORRECTED: "--printer-corrected",
    Option.SUPPORT: "--support",
    Option.POOL: "--pool-printers",
    Option.TEACH: "--learn-from LETTER",
}
"""How each option is given here."""

MODEL: Final = "The model"
SHRINKAGE: Final = "Shrinkage"
PRINTER: Final = "Printer and limits"
FURNACE: Final = "Furnace"
RESULT: Final = "Result"

Model = Annotated[
    Path,
    typer.Argument(
        metavar="MODEL",
        help="Model to read: STL (binary or text), 3MF, OBJ, PLY or OFF.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
Models = Annotated[
    list[Path],
    typer.Argument(
        metavar="MODEL...",
        help="Models to read: STL, 3MF, OBJ, PLY or OFF. A folder gives all in it.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
Unit = Annotated[
    str | None,
    typer.Option(
        metavar="UNIT",
        help="Unit of the numbers in the file: mm, cm, m, um, in, ft. Without it: mm.",
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
KeepBodies = Annotated[
    bool,
    typer.Option(
        "--keep-bodies",
        help="Keep bodies that share space as they are: their size holds, not volume, mass or sag.",
        rich_help_panel=MODEL,
    ),
]
Nozzle = Annotated[
    str | None,
    typer.Option(
        metavar="MM",
        help=f"Bore of the nozzle. Without it, and where no settings file states it: "
        f"{NOZZLE_MM:g}.",
        show_default=False,
        rich_help_panel=PRINTER,
    ),
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
    int | None,
    typer.Option(
        metavar="N",
        help=f"Layers that a closed floor needs. Without it: {CLOSED_FLOOR_LAYERS}.",
        show_default=False,
        rich_help_panel=PRINTER,
    ),
]
ThickLimit = Annotated[
    str | None,
    typer.Option(
        metavar="MM",
        help=f"Thickest green section you trust to lose its binder. Without it: {THICK_MM:g}.",
        show_default=False,
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
        readable=False,  # it is written to
    ),
]
Json = Annotated[
    bool,
    typer.Option(
        "--json", help="Print the result as JSON on standard output.", rich_help_panel=RESULT
    ),
]


Open = Annotated[
    bool,
    typer.Option("--open", help="Show the report in the browser.", rich_help_panel=RESULT),
]


def flag_of(name: str) -> str:
    """Option of a command that states a key of the settings.

    Parameters
    ----------
    name : str
        The key's own name, as ``bead_width``.
    """
    return f"--{name.replace('_', '-')}"


def open_page(page: Path) -> None:
    """Show a page in whatever the system opens pages with."""
    if typer.launch(str(page.resolve())):
        typer.echo("no browser could be started; open the report yourself", err=True)


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
        agreed = typer.confirm("\n".join(map(printable, question.splitlines())), err=True)
    except (typer.Abort, OSError):
        # Nobody is there to answer, or nothing can be read from.
        agreed = False
    if not agreed:
        raise SettingError("nothing was written", hint=hint)


def show_remarks(settings: Settings, console: Console) -> None:
    """Show what is worth a look in the settings; nothing where all agrees."""
    from rich.text import Text

    for remark in settings.remarks:
        # A remark names a file: a path that is broken into lines cannot be copied.
        console.print(Text.assemble(("settings: ", "bold yellow"), remark), soft_wrap=True)


def part_from(
    model: Path, unit: str | None, unite: bool, *, allow_open: bool = False, keep: bool = False
) -> Part:
    """Read a part and refuse what cannot be trusted, unless asked to go on."""
    from shrinkrule.mesh import read_part

    if unite and keep:
        raise SettingError(
            "bodies cannot be both united and kept", hint="leave out --unite or --keep-bodies"
        )
    part = read_part(model, unit)
    if unite:
        part = part.united()
    if not allow_open:
        part.require_closed()
    if not keep:
        part.require_apart()
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
