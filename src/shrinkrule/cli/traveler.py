"""``shrinkrule traveler``: the page that goes with the parts of a load, and its sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shrinkrule.cli import options
from shrinkrule.errors import FileError

if TYPE_CHECKING:
    from shrinkrule.traveler.load import Load

Reports = Annotated[
    list[Path],
    typer.Argument(
        metavar="REPORT...",
        help="Reports NAME.report.json that compensate wrote, each beside its green part: one for "
        "each part that is fired in this load.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
Name = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="What the files' names begin with. Without it: the first part's name.",
        show_default=False,
        rich_help_panel=options.RESULT,
    ),
]
Force = Annotated[
    bool,
    typer.Option(
        "--force",
        help="Replace files of the same names, a sheet with readings in it too.",
        rich_help_panel=options.RESULT,
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "traveler",
        no_args_is_help=True,
        epilog="Example: shrinkrule traveler lever_arm.report.json gear_blank.report.json "
        "--name load7",
    )(traveler)


def traveler(
    reports: Reports,
    name: Name = None,
    out: options.OutDir = None,
    force: Force = False,
    open_report: options.Open = False,
    json: options.Json = False,
) -> None:
    """Make the page that goes with the parts of a load, and a sheet to type into.

    Writes NAME.traveler.html to print on A4 or Letter, with what is expected at
    each stage and boxes to write in, and NAME.load.csv for the readings.
    """
    from shrinkrule.traveler.load import load_of
    from shrinkrule.traveler.output import traveler_paths, write_traveler

    folder = options.folder_from(out)
    load = load_of(reports)
    paths = traveler_paths(folder, name or load.parts[0].name)
    there = [path for path in paths.values() if path.exists()]
    if there and not force:
        raise FileError(
            "this file is there already, and may hold readings",
            where=str(there[0]),
            hint="choose another --name or --out, or add --force to replace it",
        )
    with options.progress_bar(shown=not json) as progress:
        write_traveler(load, paths, reports, progress)
    if json:
        import json as codec

        typer.echo(codec.dumps(_plain(load, paths), indent=2))
    else:
        _show(load, paths)
    if open_report:
        options.open_page(paths["page"])


def _plain(load: Load, paths: dict[str, Path]) -> dict[str, object]:
    return {
        "row": load.row["name"],
        "parts": [
            {
                "letter": part.letter,
                "name": part.name,
                "green_sha256": part.green_sha256,
                "lines": [one.mark for one in part.lengths],
                "not_measured": list(part.not_measured),
            }
            for part in load.parts
        ],
        "files": {kind: path.name for kind, path in paths.items()},
    }


def _show(load: Load, paths: dict[str, Path]) -> None:
    from rich.console import Console

    from shrinkrule.cells import on_screen

    console = Console(highlight=False)
    for part in load.parts:
        console.print(
            f"[bold]{part.letter}[/bold] {on_screen(part.name)}: {len(part.lengths)} lengths and "
            "three weights to read"
        )
        for left in part.not_measured:
            console.print(f"  not measured: {on_screen(left)}", style="dim")
    console.print(f"[bold]print[/bold] {on_screen(str(paths['page']))}", soft_wrap=True)
    console.print(f"[bold]type[/bold]  {on_screen(str(paths['sheet']))}", soft_wrap=True)
