"""The history on the screen, the newest last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.table import Table

from shrinkrule.cells import on_screen
from shrinkrule.history.firings import FiringChart
from shrinkrule.history.store import Entry, History


def show_history(
    history: History,
    entries: Sequence[Entry],
    charts: Mapping[str, Sequence[FiringChart]],
    console: Console,
) -> None:
    """Show entries of a history, one line each.

    Parameters
    ----------
    history : History
        As it was read.
    entries : sequence of dict
        Those to show.
    charts : mapping of str to sequence of FiringChart
        Charts by the name of their row.
    console : Console
        Where to.
    """
    if not entries:
        console.print(f"nothing yet in {on_screen(str(history.path))}", soft_wrap=True)
    else:
        table = Table(box=None, pad_edge=False, header_style="bold")
        for name in ("when", "what", "part", "row"):
            table.add_column(name, no_wrap=name == "when")
        table.add_column("said", overflow="fold")
        for entry in entries:
            table.add_row(*(on_screen(text) for text in entry_texts(entry)))
        console.print(table)
    for name, found in charts.items():
        for chart in found:
            console.print(f"[bold]row {on_screen(name)}[/bold] {on_screen(chart.said)}")
    for note in history.notes:
        console.print(f"[yellow]look[/yellow] {on_screen(note)}")


def entry_texts(entry: Entry) -> tuple[str, str, str, str, str]:
    """One entry in words.

    Parameters
    ----------
    entry : dict
        One line of the history.

    Returns
    -------
    tuple of str
        When, what happened, to which part, by which row, and what was said.
    """
    when = str(entry.get("at", "")).replace("T", " ")[:16]
    said = entry.get("verdict") or entry.get("said") or ""
    return (
        when,
        str(entry["entry"]),
        _name(entry.get("part")),
        str(entry.get("row") or ""),
        str(said),
    )


def _name(part: Any) -> str:
    """Name of the file an entry is about."""
    return str(part.get("file", "")) if isinstance(part, dict) else ""
