"""``shrinkrule rows``: what a calibration table holds, row by row."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from shrinkrule.cli import options


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("rows", epilog="Example: shrinkrule rows table.csv")(rows)


def rows(
    table: Annotated[
        Path | None,
        typer.Argument(
            help="Calibration table (CSV). Without it: the one that shrinkrule.toml states, or "
            "else the bundled invented one.",
            show_default=False,
            readable=False,  # the reader says it in one line
        ),
    ] = None,
    json: options.Json = False,
) -> None:
    """List the rows of a calibration table with their key figures and any misfit."""
    from shrinkrule.calibration import check_balance, demo_table, read_table
    from shrinkrule.report import rows_dicts, show_rows
    from shrinkrule.settings import Settings

    if table is None:
        stated = Settings.for_model(Path())["calibration.table"].value
        table = None if stated is None else Path(str(stated))
    source = "bundled table, materials INVENTED" if table is None else table.name
    read = demo_table() if table is None else read_table(table)
    balanced = [(row, check_balance(row)) for row in read]
    if json:
        import json as codec

        typer.echo(codec.dumps(rows_dicts(balanced), indent=2))
        return
    from rich.console import Console

    show_rows(balanced, source, Console(highlight=False))
