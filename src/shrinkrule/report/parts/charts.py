"""The page of a history: charts of its firings, drawn as SVG, and what was made and came out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from html import escape
from pathlib import Path
from typing import Final

from markupsafe import Markup

from shrinkrule.calibration import Axis, CalibrationRow
from shrinkrule.cells import printable
from shrinkrule.files import OutputSet, require_place
from shrinkrule.files.templates import environment
from shrinkrule.history.chart import Components
from shrinkrule.history.firings import FiringChart, firing_chart
from shrinkrule.history.store import Entry
from shrinkrule.report.foundation import program
from shrinkrule.report.parts.history import entry_texts

WIDTH: Final = 640.0
HEIGHT: Final = 220.0
LEFT: Final = 56.0
MARGIN: Final = 14.0
BELOW: Final = 26.0
"""Of a chart, in its own units."""


def charts_of(
    entries: Sequence[Entry], rows: Sequence[CalibrationRow]
) -> dict[str, tuple[FiringChart, ...]]:
    """Charts of the rows of a table of which parts were reviewed.

    Parameters
    ----------
    entries : sequence of dict
        The history.
    rows : sequence of CalibrationRow
        Rows that hold.

    Returns
    -------
    dict of str to tuple of FiringChart
        XY and Z by the name of the row, by the row's own components; none for a row that does not
        know how firings differ.
    """
    found = {}
    for row in rows:
        if not row.firing_scatter_known:
            continue
        charts = tuple(
            chart
            for direction, known in (("xy", _flat(row)), ("z", _components(row, "z")))
            if known.sd > 0.0
            and (chart := firing_chart(entries, row.name, direction, known)).firings
        )
        if charts:
            found[row.name] = charts
    return found


def _components(row: CalibrationRow, axis: Axis) -> Components:
    scatter = row.along(axis).scatter
    value = (row.shrinkage_z if axis == "z" else row.shrinkage_xy).value
    return Components(value, scatter.between, scatter.mean_u, scatter.dof)


def _flat(row: CalibrationRow) -> Components:
    """Of X and Y, whichever differs more."""
    return max((_components(row, "x"), _components(row, "y")), key=lambda one: one.sd)


def chart_svg(chart: FiringChart) -> str:
    """Draw a chart: firings as points, their moving average as a line, both with their limits.

    Parameters
    ----------
    chart : FiringChart
        The chart.

    Returns
    -------
    str
        An SVG element.
    """
    values = [*chart.values, *chart.averages, chart.alone.lower, chart.alone.upper]
    low, high = 100.0 * float(min(values)), 100.0 * float(max(values))
    room = 0.08 * (high - low) or 0.1
    low, high = low - room, high + room
    steps = max(len(chart.firings) - 1, 1)

    def x(number: int) -> float:
        return LEFT + MARGIN + (WIDTH - LEFT - 2.0 * MARGIN) * number / steps

    def y(value: float) -> float:
        return MARGIN + (HEIGHT - MARGIN - BELOW) * (high - 100.0 * value) / (high - low)

    parts = [f'<svg viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img">']
    for limits, style in ((chart.alone, "alone"), (chart.moving, "moving")):
        for value in (limits.lower, limits.upper):
            parts.append(_line(LEFT, y(value), WIDTH - MARGIN, y(value), style))
            if style == "alone":
                parts.append(_text(LEFT - 6.0, y(value), f"{100.0 * value:.2f} %", "end"))
    centre = chart.alone.centre
    parts.append(_line(LEFT, y(centre), WIDTH - MARGIN, y(centre), "centre"))
    parts.append(_text(LEFT - 6.0, y(centre), f"{100.0 * centre:.2f} %", "end"))
    line = " ".join(f"{x(n):.1f},{y(float(v)):.1f}" for n, v in enumerate(chart.averages))
    parts.append(f'<polyline class="average" points="{line}"/>')
    every = max(len(chart.firings) // 16, 1)
    for number, (name, value) in enumerate(zip(chart.firings, chart.values, strict=True)):
        out = not chart.alone.lower <= value <= chart.alone.upper
        style = "point out" if out else "point"
        parts.append(
            f'<circle class="{style}" cx="{x(number):.1f}" cy="{y(float(value)):.1f}" r="4"/>'
        )
        if number % every == 0:
            parts.append(_text(x(number), HEIGHT - 8.0, printable(name)[:8], "middle"))
    return "".join([*parts, "</svg>"])


def _line(x1: float, y1: float, x2: float, y2: float, style: str) -> str:
    return f'<line class="{style}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def history_page_outputs(
    table: Path,
    entries: Sequence[Entry],
    charts: Mapping[str, Sequence[FiringChart]],
    folder: Path,
) -> Path:
    """Write the page of a history.

    Parameters
    ----------
    table : Path
        Its table, which the page is named after.
    entries : sequence of dict
        What to list.
    charts : mapping of str to sequence of FiringChart
        Charts by the name of their row.
    folder : Path
        Where to; made if needed.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    require_place(folder)
    page = (
        environment("shrinkrule.report")
        .get_template("history.html.j2")
        .render(
            table=table.name,
            created=dt.datetime.now().astimezone().date().isoformat(),
            rows=[entry_texts(entry) for entry in reversed(entries)],
            charts=[
                (
                    name,
                    [
                        (chart.said, Markup(chart_svg(chart)) if chart.is_enough else "")
                        for chart in found
                    ],
                )
                for name, found in charts.items()
            ],
            drawn=any(chart.is_enough for found in charts.values() for chart in found),
            program=program(),
        )
    )
    path = folder / f"{table.stem}.history.html"
    outputs = OutputSet([table])
    outputs.add(path, page.encode())
    outputs.write()
    return path
