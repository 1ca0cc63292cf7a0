"""``shrinkrule settings``: what holds for a model or a folder, and where each value comes from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shrinkrule.cli import options
from shrinkrule.errors import FileError

if TYPE_CHECKING:
    from shrinkrule.settings import Settings

Start = Annotated[
    Path | None,
    typer.Argument(
        metavar="MODEL",
        help="Model or folder to look from. Without it: the current folder.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
Write = Annotated[
    bool,
    typer.Option("--write", help="Write a commented shrinkrule.toml into the folder of MODEL."),
]
User = Annotated[
    bool, typer.Option("--user", help="With --write: into your own settings, for all folders.")
]
Force = Annotated[bool, typer.Option("--force", help="Replace a file that is there.")]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("settings", epilog="Example: shrinkrule settings --write")(settings)


def settings(
    model: Start = None,
    write: Write = False,
    user: User = False,
    force: Force = False,
    json: options.Json = False,
) -> None:
    """Show the settings that hold for a model, and where each of them comes from.

    An option of a command goes first, then the row of the calibration table (it was
    measured), then shrinkrule.toml beside the model or in the nearest folder above
    it, then your own file, then what is built in.
    """
    from shrinkrule.settings import Settings

    start = model or Path()
    if not start.exists():
        raise FileError("no such file or folder", where=str(start), hint="look at its name")
    holds = Settings.for_model(start)
    if write:
        path = _write(holds, start, user, force)
        if not json:
            typer.echo(f"written {path}")
            return
        holds = Settings.for_model(start)
    row, why_no_row = _with_row(holds)
    if model is None and not json:
        typer.echo("what holds in this folder; for a model elsewhere: shrinkrule settings MODEL")
    if json:
        import json as codec

        told = {
            "settings": row.as_dicts(),
            "files": [file.name for file in row.files],
            "remarks": [*row.remarks, *filter(None, [why_no_row])],
        }
        typer.echo(codec.dumps(told, indent=2))
    else:
        _show(row, why_no_row)


def _with_row(holds: Settings) -> tuple[Settings, str]:
    """Settings with what the row states, or why there is none, in words."""
    from shrinkrule.calibration import find_row, read_table
    from shrinkrule.errors import ShrinkruleError
    from shrinkrule.settings import row_states

    table = holds["calibration.table"].value
    if not isinstance(table, Path):
        return holds, ""
    try:
        row = find_row(read_table(table), holds.text("calibration.row"), table.name)
    except ShrinkruleError as error:
        return holds, str(error)
    return holds.with_row(row_states(row, table.name)), ""


def _write(holds: Settings, start: Path, user: bool, force: bool) -> Path:
    """Write the file, by what files state already, and return its path."""
    from shrinkrule.files import OutputSet
    from shrinkrule.settings import FILE_NAME, settings_text, user_file

    path = user_file() if user else (start if start.is_dir() else start.parent) / FILE_NAME
    if path.exists() and not force:
        raise FileError(
            "this file is there already", where=str(path), hint="change it, or add --force"
        )
    if user:
        path.parent.mkdir(parents=True, exist_ok=True)
    outputs = OutputSet()
    outputs.add(path, settings_text(holds, path.parent).encode())
    outputs.write()
    return path


def _show(holds: Settings, why_no_row: str) -> None:
    from rich.console import Console
    from rich.table import Table

    from shrinkrule.cells import on_screen
    from shrinkrule.settings import FILE_NAME, Source, user_file

    console = Console(highlight=False)
    table = Table(box=None, pad_edge=False)
    table.add_column("setting", no_wrap=True)
    table.add_column("holds")
    table.add_column("comes from")
    files = {file.name: number for number, file in enumerate(holds.files, start=1)}
    for setting in holds.all():
        quiet = setting.source is Source.BUILT_IN
        place = setting.place
        for name, number in files.items():
            place = place.replace(name, f"file {number}")
        source = "built in" if quiet and setting.value is not None else ""
        told = f"{source}, {place}" if source and place else source or place
        style = "dim" if quiet else ""
        table.add_row(setting.key.name, on_screen(setting.shown), on_screen(told), style=style)
    console.print(table)
    for name, number in files.items():
        console.print(f"file {number}: {on_screen(name)}", soft_wrap=True)
    if not files:
        console.print(
            f"no {FILE_NAME} in this folder or above it, and none in "
            f"{on_screen(str(user_file().parent))}: [bold]shrinkrule settings --write[/bold] makes "
            "one",
            soft_wrap=True,
        )
    options.show_remarks(holds, console)
    if why_no_row:
        console.print(f"[bold yellow]settings:[/] {on_screen(why_no_row)}", soft_wrap=True)
