"""``shrinkrule calibrate``: from measured coupons to a row of the calibration table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from shrinkrule.cli import options
from shrinkrule.errors import SettingError
from shrinkrule.files.plain import real_path
from shrinkrule.numerics.progress import Progress

if TYPE_CHECKING:
    from shrinkrule.calibration import FitResult, Sheet

_FITTING: Final = 0.2
_DRAWING: Final = 0.5
"""Shares of the time that are over when the sheets are read, and fitted."""

Sheets = Annotated[
    list[Path],
    typer.Argument(
        metavar="SHEET",
        help="Filled measuring sheets (CSV): one for each coupon in each firing, or one "
        "for each load of a coupon fired in several.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
TableFile = Annotated[
    Path | None,
    typer.Option(
        "--table",
        "-t",
        metavar="FILE",
        help="Calibration table (CSV) to add the row to; made if it is not there. Without it: "
        "reports only.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
RowName = Annotated[str, typer.Option("--row", "-r", metavar="NAME", help="What to call the row.")]
LeaveOut = Annotated[
    list[str] | None,
    typer.Option(
        metavar="ID",
        help="A length or beam not to use: X3 on every coupon, 2:X3 on coupon 2. May be repeated.",
        show_default=False,
    ),
]
PoolPrinters = Annotated[
    bool,
    typer.Option(
        "--pool-printers",
        help="Fit coupons of different nozzles, beads or layers together: the row is then of no "
        "one printer.",
    ),
]
More = Annotated[
    bool,
    typer.Option(
        "--more",
        help="Fit the row of that name again, from the sheets that it names and these.",
    ),
]
Note = Annotated[
    str,
    typer.Option(metavar="TEXT", help="A word of your own for the row.", show_default=False),
]
Yes = Annotated[
    bool, typer.Option("--yes", "-y", help="Answer yes to every question, for scripts.")
]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "calibrate",
        no_args_is_help=True,
        epilog="Example: shrinkrule calibrate firing1.csv firing2.csv --table table.csv "
        "--row 'bronze 3'",
    )(calibrate)


def calibrate(
    sheets: Sheets,
    table: TableFile = None,
    row: RowName = "calibration",
    leave_out: LeaveOut = None,
    note: Note = "",
    more: More = False,
    pool_printers: PoolPrinters = False,
    out: options.OutDir = None,
    yes: Yes = False,
    json: options.Json = False,
) -> None:
    """Fit measured coupons: shrinkage, bead spread, sag, and how sure each of them is.

    Writes ROW.fit.html to read and ROW.fit.json for other programs, and adds the
    row to the table. A row of that name is kept under its date. The row names
    the sheets with their checksums; --more fits it again with further ones.
    """
    folder = options.folder_from(out)
    left_out = tuple(leave_out or ())
    if more:
        sheets, left_out = _with_earlier(sheets, left_out, table, row)
    from shrinkrule.calibration import evidence_of, fit_sheets, row_from_fit

    with options.progress_bar(shown=not json) as progress:
        read = _read(sheets, progress)
        if _show_bars(read, json):
            return
        progress("fitting", _FITTING)
        fit = fit_sheets(read, left_out, pool_printers)
        made = row_from_fit(fit, row, note, evidence_of(sheets, table.parent if table else folder))
    if table is not None and not yes:
        _ask(fit, table, row)
    with options.progress_bar(shown=not json) as progress:
        progress("drawing the report", _DRAWING)
        from shrinkrule.report.fit.outputs import fit_outputs

        files = fit_outputs(fit, made, folder, table, inputs=sheets)
    from shrinkrule.report import fit_dict, show_fit

    if json:
        import json as codec

        typer.echo(codec.dumps(fit_dict(fit, made, files), indent=2))
        return
    from rich.console import Console

    show_fit(fit, made, files, Console(highlight=False))


def _read(sheets: list[Path], progress: Progress) -> list[Sheet]:
    """All sheets, read and checked."""
    from shrinkrule.calibration.fit.lengths import read_witnesses

    read: list[Sheet] = []
    for number, sheet in enumerate(sheets):
        progress("reading the sheets", _FITTING * number / len(sheets))
        read += read_witnesses(sheet)
    return read


def _show_bars(read: list[Sheet], json: bool) -> bool:
    """Show the modulus of bars without a block, and whether that is what the sheets hold."""
    from shrinkrule.calibration import fit_bars, is_block

    if any(map(is_block, read)):
        return False
    bars = fit_bars(read)
    from shrinkrule.report import bars_dict, show_bars

    if json:
        import json as codec

        typer.echo(codec.dumps(bars_dict(bars), indent=2))
    else:
        from rich.console import Console

        show_bars(bars, Console(highlight=False))
    return True


def _with_earlier(
    sheets: list[Path], left_out: tuple[str, ...], table: Path | None, name: str
) -> tuple[list[Path], tuple[str, ...]]:
    """Sheets that a row was fitted from and those given, and what is to be left out of them."""
    from shrinkrule.calibration import evidence_files, find_row, read_table

    if table is None:
        raise SettingError(
            "no row is named that could be fitted again", hint="give --table and --row too"
        )
    before = find_row(read_table(table), name, table.name)
    earlier = evidence_files(before.evidence, name, table.parent)
    known = {real_path(sheet) for sheet in earlier}
    fresh = [sheet for sheet in sheets if real_path(sheet) not in known]
    return [*earlier, *fresh], tuple(dict.fromkeys((*before.left_out, *left_out)))


def _ask(fit: FitResult, table: Path, name: str) -> None:
    """Ask before a row is replaced, or written although something is wrong."""
    from shrinkrule.calibration import NoteWeight, row_that_stands

    wrong = [note.text for note in fit.notes if note.weight is NoteWeight.WRONG]
    if wrong:
        options.confirm(f"{wrong[0]}\nWrite the row all the same?", "put it right, or add --yes")
    current = row_that_stands(table, name)
    if current is not None:
        since = f" of {current.date}" if current.date else ""
        options.confirm(
            f"{table.name} has a row {name!r}{since} already. Replace it? It is kept, under its "
            "date.",
            "choose another --row, or add --yes",
        )
