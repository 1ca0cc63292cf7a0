"""Many parts in one summary: what came of each, and which of them share a crucible."""

from __future__ import annotations

import datetime as dt
import os
import string
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

from rich.console import Console
from rich.table import Table

from shrinkrule.cautions import CAUTIONS
from shrinkrule.cells import on_screen, printable
from shrinkrule.files import OutputSet
from shrinkrule.files.templates import environment
from shrinkrule.furnace import Furnace
from shrinkrule.job import Level
from shrinkrule.loads import Load
from shrinkrule.report.foundation import program
from shrinkrule.report.pictures.loads import load_svg
from shrinkrule.units import plain

SUMMARY_NAME: Final = "parts.summary.html"
"""Name of the summary page."""

SMALL_MM: Final = 10.0
"""Longest side below which sizes are shown to a hundredth."""

_PLAIN: Final = frozenset(string.ascii_letters + string.digits + "-._~")
"""Characters that stand for themselves in a link (RFC 3986, section 2.3)."""

_STYLES: Final = {
    Level.MAKE.value: "bold green",
    Level.LOOK.value: "bold yellow",
    Level.STOP.value: "bold red",
}
_CLASSES: Final = {Level.MAKE.value: "make", Level.LOOK.value: "look", Level.STOP.value: "stop"}


class PartOutcome(Protocol):
    """What came of one part: its model, exit code, report, and why it failed."""

    @property
    def model(self) -> Path:
        """The model."""

    @property
    def code(self) -> int:
        """Exit code."""

    @property
    def report(self) -> dict[str, Any] | None:
        """Its report, as JSON has it; None where it failed."""

    @property
    def why(self) -> str:
        """Why it failed, in words."""


@dataclass(frozen=True)
class LoadPlan:
    """Parts of one row that are fired in one kind of crucible.

    Parameters
    ----------
    furnace : BoxFurnace or CrucibleFurnace
        The crucible.
    row : str
        Row of the table, or how else they shrink.
    loads : tuple of Load
        Which go together; a part's number is its place among all parts.
    left : tuple of int
        Parts that do not fit.
    fewest : int
        Loads that they take at least.
    """

    furnace: Furnace
    row: str
    loads: tuple[Load, ...]
    left: tuple[int, ...]
    fewest: int

    @property
    def proven_least(self) -> bool:
        """Whether no way to lay the parts in one layer takes fewer loads."""
        return len(self.loads) <= self.fewest

    @property
    def title(self) -> str:
        """Crucible, row and number of loads in words, and whether that number is proven least."""
        count = len(self.loads)
        said = f"{count} load{'s' * (count != 1)}"
        if count > 1 and self.proven_least:
            said += ", proven least: the parts' area alone takes as many"
        elif count > 1:
            said += f" found, not proven least: by the parts' area {self.fewest} may do"
        return f"{self.furnace}, {self.row}: {said}"


def _name(part: PartOutcome) -> str:
    """Name of its file, safe on any screen."""
    return printable(part.model.name)


def _link(name: str) -> str:
    """Name of a file as a link to it, whatever bytes it is made of."""
    plain = (chr(byte) if chr(byte) in _PLAIN else f"%{byte:02X}" for byte in os.fsencode(name))
    return "".join(plain)


def _level(part: PartOutcome) -> str:
    return "failed" if part.report is None else str(part.report["verdict"]["level"])


def _headline(part: PartOutcome) -> str:
    """First line of its report, which says what was not looked at."""
    return "failed" if part.report is None else str(part.report["verdict"]["headline"])


def _unsure(part: PartOutcome) -> bool:
    """Whether something that matters was not looked at."""
    checks = [] if part.report is None else part.report["verdict"]["checks"]
    return any(check["matters_to_headline"] and check["state"] != "fine" for check in checks)


def _why(part: PartOutcome) -> str:
    """Why it failed, without the part's name before it."""
    why = part.why.removeprefix(f"{part.model}: ").removeprefix(f"{part.model.name}: ")
    return printable(why)


def _green(part: PartOutcome) -> str:
    if part.report is None:
        return ""
    sizes = [size["green_mm"] for size in part.report["prediction"]["sizes"]]
    digits = 1 if max(sizes) >= SMALL_MM else 2
    return " x ".join(f"{size:.{digits}f}" for size in sizes)


def _mass(part: PartOutcome) -> float | None:
    need = None if part.report is None else part.report.get("filament")
    return None if need is None else need["mass_g"]["value"]


def _grams(mass: float | None) -> str:
    """A mass without its unit: to a tenth, or two digits of less than a gram."""
    if mass is None:
        return ""
    return f"{mass:.1f}" if mass >= 1.0 else plain(mass)


def totals_text(parts: Sequence[PartOutcome]) -> str:
    """How many parts there are of each verdict, and the filament of those that may be made."""
    levels = [_level(part) for part in parts]
    counts = [f"{levels.count(name)} {name}" for name in dict.fromkeys(levels)]
    said = f"{len(parts)} parts: {', '.join(counts)}"
    made = [part for part in parts if part.report and _level(part) != Level.STOP]
    masses = [_mass(part) for part in made]
    known = [mass for mass in masses if mass is not None]
    if not known:
        return said
    missing = len(masses) - len(known)
    less = f", without {missing} whose mass is not known" if missing else ""
    whose = "" if len(made) == len(parts) else f" for the {len(made)} that may be made"
    return f"{said}; {sum(known):.0f} g of filament{whose}{less}"


def show_many(
    parts: Sequence[PartOutcome], plans: Sequence[LoadPlan], page: Path, console: Console
) -> None:
    """Show what came of many parts.

    Parameters
    ----------
    parts : sequence of PartOutcome
        In their order.
    plans : sequence of LoadPlan
        Which share a crucible.
    page : Path
        The summary page.
    console : Console
        Where to.
    """
    table = Table(box=None, pad_edge=False)
    for heading in ("", "part", "verdict", "green mesh, mm", "filament g"):
        table.add_column(heading, justify="right" if heading in {"", "filament g"} else "left")
    for number, part in enumerate(parts, start=1):
        level, mass = _level(part), _mass(part)
        style = _STYLES.get(level, "bold red")
        shown = _grams(mass)
        name = on_screen(_name(part))
        star = " *" if _unsure(part) and level != Level.STOP else ""
        table.add_row(str(number), name, f"[{style}]{level}[/]{star}", _green(part), shown)
    console.print(table)
    console.print(totals_text(parts))
    if any(_unsure(part) for part in parts):
        console.print("* as far as looked at: its report says what was not", style="dim")
    for part in parts:
        if part.why:
            console.print(f"[bold red]{on_screen(_name(part))}:[/] {on_screen(_why(part))}")
    for plan in plans:
        console.print(f"[bold]loads[/bold] {on_screen(plan.title)}")
        for number, load in enumerate(plan.loads, start=1):
            names = ", ".join(on_screen(_name(parts[p.number])) for p in load.parts)
            console.print(f"  {number}: {names}")
        for number in plan.left:
            console.print(f"  does not fit: {on_screen(_name(parts[number]))}", style="yellow")
    console.print(f"[bold]read[/bold]  {on_screen(str(page))}", soft_wrap=True)


def many_dict(parts: Sequence[PartOutcome], plans: Sequence[LoadPlan]) -> dict[str, Any]:
    """What came of many parts, as JSON values.

    Parameters
    ----------
    parts : sequence of PartOutcome
        In their order.
    plans : sequence of LoadPlan
        Which share a crucible.

    Returns
    -------
    dict
        JSON values by name.
    """
    return {
        "schema": "shrinkrule.summary",
        "version": 1,
        "program": program(),
        "parts": [
            {
                "model": str(part.model),
                "exit_code": part.code,
                "why": part.why,
                "report": part.report,
            }
            for part in parts
        ],
        "loads": [
            {
                "furnace": str(plan.furnace),
                "row": plan.row,
                "at_least": plan.fewest,
                "proven_least": plan.proven_least,
                "loads": [
                    [
                        {
                            "part": placed.number,
                            "at_mm": placed.at.tolist(),
                            "turned_deg": placed.turned_deg,
                        }
                        for placed in load.parts
                    ]
                    for load in plan.loads
                ],
                "do_not_fit": list(plan.left),
            }
            for plan in plans
        ],
    }


def many_html(parts: Sequence[PartOutcome], plans: Sequence[LoadPlan]) -> str:
    """Summary page: each part with its verdict and a link to its report, and the loads, drawn.

    Parameters
    ----------
    parts : sequence of PartOutcome
        In their order.
    plans : sequence of LoadPlan
        Which share a crucible.

    Returns
    -------
    str
        One page, whose links lead to the reports beside it.
    """
    labels = {number: str(number + 1) for number in range(len(parts))}
    rows = []
    for number, part in enumerate(parts):
        mass, report = _mass(part), part.report
        reasons = [] if report is None else report["verdict"]["reasons"]
        rows.append(
            {
                "number": labels[number],
                "name": _name(part),
                "link": None if report is None else _link(report["files"]["html"]),
                "level": _headline(part),
                "class": _CLASSES.get(_level(part), "stop"),
                "green": _green(part),
                "mass": _grams(mass),
                "why": _why(part) or (reasons[0]["text"] if reasons else ""),
            }
        )
    drawn = [
        {
            "title": plan.title,
            "loads": [
                {
                    "svg": load_svg(load, plan.furnace, labels),
                    "names": [
                        (labels[p.number], _name(parts[p.number]), f"{p.turned_deg:g}")
                        for p in load.parts
                    ],
                }
                for load in plan.loads
            ],
            "left": [_name(parts[number]) for number in plan.left],
        }
        for plan in plans
    ]
    return (
        environment("shrinkrule.report")
        .get_template("many.html.j2")
        .render(
            rows=rows,
            plans=drawn,
            totals=totals_text(parts),
            cautions=CAUTIONS,
            program=program(),
            created=dt.datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
        )
    )


def many_outputs(parts: Sequence[PartOutcome], plans: Sequence[LoadPlan], folder: Path) -> Path:
    """Write the summary page.

    Parameters
    ----------
    parts : sequence of PartOutcome
        In their order.
    plans : sequence of LoadPlan
        Which share a crucible.
    folder : Path
        Where to; the reports lie there too.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    path = folder / SUMMARY_NAME
    outputs = OutputSet([part.model for part in parts])
    outputs.add(path, many_html(parts, plans).encode())
    outputs.write()
    return path
