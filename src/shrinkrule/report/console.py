"""One page on the screen: what was done, what was found, where the files are."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from shrinkrule.calibration import BalanceCheck, CalibrationRow
from shrinkrule.cells import on_screen, printable
from shrinkrule.defaults import STATED_LENGTH_MM
from shrinkrule.job import JobResult, Level, Row, State, WallLook, WayLook
from shrinkrule.mesh import Part
from shrinkrule.report import place_words, words
from shrinkrule.report.filament import filament_text
from shrinkrule.report.foundation import green_of
from shrinkrule.report.printer_words import print_facts
from shrinkrule.report.sag.ways import way_cells, ways_headline
from shrinkrule.report.sag.words import estimate_text, sag_text
from shrinkrule.report.verdict import check_lines, headline_text

MOST_ROWS = 10

WHOLE = 0.995
"""Share of the surface that counts as all of it: less is always said."""


def show_job(
    result: JobResult, files: dict[str, Path], console: Console, verbose: bool = False
) -> None:
    """Show the main job's result: what the maker acts on, or all of it.

    Parameters
    ----------
    result : JobResult
        What to show.
    files : dict
        Path of each file that was written, by kind.
    console : Console
        Where to.
    verbose : bool
        Whether what is fine, masses, and what was assumed are shown too; the report has them.
    """
    verdict = result.verdict
    console.print(headline_text(result.part.source.name, verdict))
    lines = check_lines(verdict)
    # What weighs stands right below the headline that speaks of it.
    weighs, others = lines[: len(verdict.reasons)], lines[len(verdict.reasons) :]
    for line in weighs:
        console.print(line)
    if verbose:
        console.print(_assumed(result))
    else:
        row = result.recipe.row
        by = "by hand" if row is None else f"row {row.name} of {result.recipe.row_source}"
        console.print(on_screen(f"{words.scaled(result)}: {by}"), style="dim")
        if result.sag is not None:
            console.print(Text.assemble(("sag: ", "bold"), sag_text(result.sag)))
        if offset := words.offset_to_set(result):
            console.print(Text.assemble(("set: ", "bold"), offset))
    console.print(_sizes(result))
    _show_places(result.walls, console, verbose)
    for line in others:
        if verbose or not line.plain.startswith(State.FINE.value):
            console.print(line)
    # A path that is broken into lines cannot be copied.
    # Nobody slices by habit what is not to be made.
    verb = "green" if verdict.level is Level.STOP else "slice"
    console.print(f"[bold]{verb}[/bold] {on_screen(str(green_of(files)))}", soft_wrap=True)
    console.print(f"[bold]read[/bold]  {on_screen(str(files['html']))}", soft_wrap=True)


def _assumed(result: JobResult) -> Table:
    """What was read, assumed and done, and the masses."""
    row = result.recipe.row
    facts = _facts()
    _fact(facts, "read", words.what_was_read(result))
    for mend in result.part.mends:
        _fact(facts, "mended", mend)
    if row is None:
        _fact(facts, "shrinkage", "oversize factors given by hand")
    else:
        _fact(facts, "row", f"{row.name} of {result.recipe.row_source}")
        _fact(facts, "shrinkage", words.shrinkage(row))
    _fact(facts, "scaled", words.scaled(result))
    for name, text in print_facts(result):
        _fact(facts, name, text)
    if offset := words.outline_offset(result):
        _fact(facts, "outline", offset)
    masses = ", ".join(f"{stage} {mass}" for stage, mass in words.masses(result))
    _fact(facts, "masses", masses)
    if filament := filament_text(result):
        _fact(facts, "filament", filament)
    if furnace := words.furnace(result):
        _fact(facts, "furnace", furnace)
    if result.sag is not None:
        _fact(facts, "sag", sag_text(result.sag))
    elif result.sag_look.estimate is not None:
        _fact(facts, "sag", estimate_text(result.sag_look.estimate))
    return facts


def show_walls(look: WallLook, files: dict[str, Path], console: Console) -> None:
    """Show the result of the wall check alone, and where its coloured meshes are.

    Parameters
    ----------
    look : WallLook
        What to show.
    files : dict
        Path of each file that was written, by kind.
    console : Console
        Where to.
    """
    found = look.part.soundness
    facets = words.counted(found.facets, "facet", "facets")
    console.print(
        f"[bold]{on_screen(look.part.source.name)}[/bold]: {facets}, bead "
        f"{look.printer.bead_width_mm:.2f} mm, layer {look.printer.layer_height_mm:.2f} mm"
    )
    for text in (*look.part.mends, *look.part.warnings, *look.report.notes):
        console.print(_look(text))
    _show_places(look, console)
    console.print(_legend(look))
    names = " or ".join(on_screen(str(path)) for path in files.values())
    console.print(f"[bold]view[/bold] {names}", soft_wrap=True)


def _legend(look: WallLook) -> Table:
    """Colours of the meshes, three beside each other."""
    table = Table(box=None, show_header=False, pad_edge=False)
    entries = [Text.assemble(("██", entry.css), f" {entry.text}") for entry in look.scale.legend]
    for start in range(0, len(entries), 2):
        table.add_row(*entries[start : start + 2])
    return table


def show_ways_up(
    part: Part,
    row: CalibrationRow,
    ways: tuple[WayLook, ...],
    files: dict[str, Path],
    console: Console,
) -> None:
    """Show the ranked ways up.

    Parameters
    ----------
    part : Part
        As it was read.
    row : CalibrationRow
        Row whose sag modulus was used.
    ways : tuple of WayLook
        The best first.
    files : dict
        Path of each file that was written, by kind.
    console : Console
        Where to.
    """
    console.print(f"[bold]{on_screen(part.source.name)}[/bold], row {on_screen(row.name)}")
    table = Table(box=None, pad_edge=False, collapse_padding=True)
    table.add_column("up")
    for heading in (
        "sag\nmm",
        "sideways\nmm",
        "height\nmm",
        "stands on\nmm²",
        "unheld in\nprint mm²",
        "model X, Y, Z\nenlarged by",
        *(["furnace\n"] if ways[0].fit is not None else []),
    ):
        table.add_column(heading, justify="right", no_wrap=True)
    for look in ways:
        cells = way_cells(look, row)
        del cells["why"]
        if look.fit is None:
            del cells["furnace"]
        table.add_row(*cells.values(), style="" if look.way.stands and look.fits else "dim")
    console.print(table)
    for look in ways:
        if not look.way.stands:
            console.print(f"  {look.way.name}: {look.way.reason}", style="dim")
    console.print(f"[bold]{ways_headline(ways)}[/bold]")
    console.print(f"[bold]read[/bold]  {on_screen(str(files['html']))}", soft_wrap=True)


def show_rows(
    rows: Sequence[tuple[CalibrationRow, BalanceCheck | None]], source: str, console: Console
) -> None:
    """List a table's rows.

    Parameters
    ----------
    rows : sequence of (CalibrationRow, BalanceCheck or None)
        Rows to list, each with its mass balance.
    source : str
        Name of the table.
    console : Console
        Where to.
    """
    table = Table(title=f"Rows of {source}", title_justify="left", box=None, pad_edge=False)
    for heading in (
        "row",
        "density",
        "XY shrinks",
        "Z shrinks",
        f"± X, Y, Z at {STATED_LENGTH_MM:g}",
        "coupons",
    ):
        table.add_column(heading, justify="left" if heading == "row" else "right")
    for row, _ in rows:
        density = row.relative_density
        table.add_row(
            on_screen(row.name),
            "-" if density is None else f"{100 * density.value:.1f} %",
            f"{100 * row.shrinkage_xy.value:.2f} %",
            f"{100 * row.shrinkage_z.value:.2f} %",
            words.promised(row, STATED_LENGTH_MM),
            f"{row.coupons}",
        )
    console.print(table)
    console.print(f"  ± 95 %, of an outside length of {STATED_LENGTH_MM:g} mm", style="dim")
    if any(row.firing_scatter_known and not row.holds_classes for row, _ in rows):
        console.print("  * at least: how single lengths scatter is not known", style="dim")
    for row, balance in rows:
        if balance is not None and balance.warning:
            console.print(_look(balance.warning))
        if row.uneven:
            console.print(_look(f"row {row.name!r}: {row.uneven}"))
        said = filter(None, (row.replaced and f"replaced {row.replaced}", row.note))
        if note := "; ".join(said):
            console.print(f"  {on_screen(row.name)}: {on_screen(note)}", style="dim")


def _fact(facts: Table, name: str, text: str) -> None:
    """Add a line of words, in which names of others may stand."""
    facts.add_row(name, on_screen(text))


def _facts() -> Table:
    facts = Table(box=None, show_header=False, pad_edge=False)
    facts.add_column(style="dim", no_wrap=True)
    facts.add_column()
    return facts


def _sizes(result: JobResult) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("axis", "wanted", "green mesh", "fired, 95 %", "class it can hold"):
        table.add_column(heading, justify="left" if heading in {"axis", ""} else "right")
    for size in result.prediction.sizes:
        table.add_row(
            size.axis,
            f"{size.wanted_mm:.2f}",
            f"{size.green_mm:.2f}",
            words.fired_text(size.fired_mm),
            words.tolerance_class(size),
        )
    return table


def _show_places(look: WallLook, console: Console, verbose: bool = True) -> None:
    """Show the places with their mends; what is as it should be only where asked."""
    report = look.report
    if report.measured_fraction == 0.0:
        console.print("no wall could be measured", style="yellow")
    elif not look.places and look.why_no_pass:
        console.print("[yellow]walls[/yellow] nothing thin was found, as far as this mesh tells")
    elif not look.places:
        if verbose:
            console.print("[green]walls[/green] every wall and floor measured can be printed")
    else:
        shown = rows_to_show(look.rows)
        console.print(_rows(shown, look.part.unit))
        if left := [row for row in look.rows if row not in shown]:
            console.print(f"  and in the report: {place_words.rows_left_out(left)}", style="dim")
    if verbose and (thickest := words.thickest_text(look)):
        console.print(thickest, style="dim")
    if verbose or report.measured_fraction < WHOLE:
        console.print(
            f"{100 * report.measured_fraction:.1f} % of the surface measured", style="dim"
        )


def rows_to_show(rows: Sequence[Row]) -> list[Row]:
    """Rows for a screen, in their order: the first of every kind, then the next that matter."""
    kinds = [row.worst.finding.kind for row in rows]
    first = {kinds.index(kind) for kind in kinds}
    others = [number for number in range(len(rows)) if number not in first]
    chosen = first.union(others[: max(0, MOST_ROWS - len(first))])
    return [rows[number] for number in sorted(chosen)]


def _rows(rows: Sequence[Row], unit: str) -> Table:
    table = Table(box=None, pad_edge=False)
    for heading in ("found", "green mm", "limit", "at x, y, z of model", "mend in the model"):
        table.add_column(heading, justify="right" if heading in {"green mm", "limit"} else "left")
    for row in rows:
        place = row.worst
        finding = place.finding
        table.add_row(
            Text(place_words.kind_text(row), style="yellow"),
            f"{finding.smallest_mm:.2f}",
            f"{finding.limit_mm:.2f}",
            place_words.place_text(place, unit),
            place_words.mend_text(place, unit),
        )
    return table


def _look(text: str) -> Text:
    return Text.assemble((f"{State.LOOK.value}: ", "bold yellow"), printable(text))
