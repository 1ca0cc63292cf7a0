"""``shrinkrule history``: what was made by a table's rows, and how it came out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shrinkrule.cli import options, shrinkage
from shrinkrule.errors import FileError, SettingError

if TYPE_CHECKING:
    from shrinkrule.settings import Settings

Of = Annotated[
    Path | None,
    typer.Option(
        "--of",
        metavar="FILE",
        help="A part, a green part, a report or a sheet: shows only what has to do with it. It is "
        "known by its contents, whatever it is called now.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
Page = Annotated[
    bool,
    typer.Option(
        "--page",
        help="Write TABLE.history.html with the charts of the firings.",
        rich_help_panel=options.RESULT,
    ),
]
OneRow = Annotated[
    str | None,
    typer.Option(
        "--row", "-r", metavar="NAME", help="Only what this row made.", show_default=False
    ),
]
NoHistory = Annotated[
    bool,
    typer.Option(
        "--no-history",
        help="Leave this run out of the table's history (table.history.jsonl beside it).",
        rich_help_panel=options.RESULT,
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("history", epilog="Example: shrinkrule history --table table.csv")(history)


def history(
    table: shrinkage.TableFile = None,
    row: OneRow = None,
    of: Of = None,
    page: Page = False,
    out: options.OutDir = None,
    open_report: options.Open = False,
    json: options.Json = False,
) -> None:
    """List what was made by the rows of a table, when, and how it came out.

    Every compensate with a table adds a line to table.history.jsonl beside the
    table, every review of a filled sheet another one. From eight firings on a
    chart says whether the furnace or the filament drifts.
    """
    from shrinkrule.calibration import read_table
    from shrinkrule.files.checksum import sha256_of
    from shrinkrule.history.store import read_history
    from shrinkrule.report.parts.charts import charts_of
    from shrinkrule.settings import Settings

    where = table_of(Settings.for_model(Path(), options.flag_of, table=table))
    read = read_history(where)
    entries = read.entries if of is None else read.about(sha256_of(of))
    if of is not None and not entries:
        raise FileError(
            "the history knows no file of these contents",
            where=str(of),
            hint="it was changed since, or made with another table or with --no-history",
        )
    if row is not None:
        entries = tuple(entry for entry in entries if entry.get("row") == row)
    rows = read_table(where) if where.exists() else ()
    charts = charts_of(entries, [one for one in rows if not one.replaced])
    if json:
        import json as codec

        said = {name: [chart.said for chart in found] for name, found in charts.items()}
        whole = {"entries": entries, "notes": read.notes, "charts": said}
        typer.echo(codec.dumps(whole, indent=2))
        return
    from rich.console import Console

    from shrinkrule.report.parts.history import show_history

    show_history(read, entries, charts, Console(highlight=False))
    if page or open_report:
        from shrinkrule.report.parts.charts import history_page_outputs

        path = history_page_outputs(where, entries, charts, options.folder_from(out))
        typer.echo(f"read {path}")
        if open_report:
            options.open_page(path)


def table_of(settings: Settings) -> Path:
    """The calibration table that holds; refused where none is named."""
    table = settings["calibration.table"].value
    if not isinstance(table, Path):
        raise SettingError(
            "no calibration table is named",
            hint="give --table, or state it in shrinkrule.toml; rows and history lie there",
        )
    return table


def remember(settings: Settings, model: Path, files: dict[str, Path]) -> str:
    """Add a part that was made to its table's history; say why where that cannot be.

    The part is made by then, so that a history which cannot be written is no reason to fail.
    """
    from shrinkrule.history.made import made_entry
    from shrinkrule.history.store import append_to_history

    table = settings["calibration.table"].value
    if not isinstance(table, Path):
        return ""
    try:
        append_to_history(table, made_entry(model, files))
    except FileError as refusal:
        return f"not in the history: {refusal}"
    return ""
