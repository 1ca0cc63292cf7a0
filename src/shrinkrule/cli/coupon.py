"""``shrinkrule coupon``: the calibration coupon and its measuring sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shrinkrule.cli import options
from shrinkrule.errors import FileError, SettingError

if TYPE_CHECKING:
    from shrinkrule.coupon import Coupon
    from shrinkrule.furnace import Furnace

SagModulus = Annotated[
    float | None,
    typer.Option(
        help="Sag modulus you expect, kPa, from an earlier row: picks the spans.",
        show_default=False,
    ),
]
Density = Annotated[float, typer.Option(help="Density expected while it sags, g/cm3.")]
Material = Annotated[str, typer.Option(help="Material, for the sheet.", show_default=False)]
Process = Annotated[str, typer.Option(help="Firing process, for the sheet.", show_default=False)]
FewReadings = Annotated[
    bool,
    typer.Option(
        "--few-readings",
        help="A small coupon of about ten readings: shrinkage of each axis, bead, first layer, one "
        "span. It says what it cannot know.",
    ),
]
Name = Annotated[str, typer.Option(help="Name of the files.")]
Force = Annotated[bool, typer.Option("--force", help="Replace files of the same names.")]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "coupon",
        no_args_is_help=True,
        epilog="Example: shrinkrule coupon --crucible 90x60 --nozzle 0.6",
    )(coupon)


def coupon(
    box: options.Box = None,
    crucible: options.Crucible = None,
    nozzle: options.Nozzle = None,
    bead_width: options.BeadWidth = None,
    layer_height: options.LayerHeight = None,
    few_readings: FewReadings = False,
    sag_modulus: SagModulus = None,
    density: Density = 7.5,
    material: Material = "",
    process: Process = "",
    name: Name = "coupon",
    out: options.OutDir = None,
    force: Force = False,
    json: options.Json = False,
) -> None:
    """Make a calibration coupon that fits your furnace, with its measuring sheet.

    Give the inside sizes of what you fire in. Writes NAME.stl to print,
    NAME.page.html for the bench, and NAME.sheet.csv for the readings.
    """
    from shrinkrule.coupon import (
        CouponPlan,
        Readings,
        coupon_dict,
        coupon_paths,
        design_coupon,
        write_coupon,
    )
    from shrinkrule.settings import Settings, furnace_of, printer_of

    settings = Settings.for_model(
        options.folder_from(out),
        options.flag_of,
        nozzle=nozzle,
        bead_width=bead_width,
        layer_height=layer_height,
        box=box,
        crucible=crucible,
    )
    plan = CouponPlan(
        printer_of(settings),
        _needed(furnace_of(settings)),
        sag_modulus,
        density,
        material,
        process,
        Readings.FEW if few_readings else Readings.ALL,
    )
    paths = coupon_paths(options.folder_from(out), name)
    there = [path for path in paths.values() if path.exists()]
    if there and not force:
        raise FileError(
            "this file is there already",
            where=str(there[0]),
            hint="choose another --name or --out, or add --force to replace it",
        )
    made = design_coupon(plan)
    write_coupon(made, paths)
    if json:
        import json as codec

        typer.echo(codec.dumps(coupon_dict(made, paths), indent=2))
    else:
        from rich.console import Console

        _show(made, paths)
        options.show_remarks(settings, Console(highlight=False))


def _needed(furnace: Furnace | None) -> Furnace:
    if furnace is None:
        raise SettingError(
            "the furnace's size is needed",
            hint="give either --box 80x60x50 or --crucible 90x60, or state it in shrinkrule.toml",
        )
    return furnace


def _show(made: Coupon, paths: dict[str, Path]) -> None:
    from rich.console import Console
    from rich.table import Table

    from shrinkrule.cells import on_screen
    from shrinkrule.coupon import Readings, cost_words

    console = Console(highlight=False)
    for limit in made.limits:
        console.print(f"- {on_screen(limit)}")
    printer = made.plan.printer
    console.print(
        f"[bold]coupon[/bold] for nozzle {printer.nozzle_mm:g} mm, bead "
        f"{printer.bead_width_mm:g} mm, layer {printer.layer_height_mm:g} mm"
    )
    console.print(f"fired in a {made.plan.furnace}", style="dim")
    table = Table(box=None, pad_edge=False)
    for heading in ("piece", "printed, mm", "standing, mm", "rows"):
        table.add_column(heading, justify="left" if heading in {"piece", "rows"} else "right")
    for piece in (made.pieces[0], *sorted(made.pieces[1:], key=lambda piece: piece.name)):
        ids = [dim.line.id for dim in piece.dimensions]
        every = made.plan.readings is Readings.ALL and len(ids) > 3
        shown = _ranges(ids) if every else ", ".join(ids)
        table.add_row(piece.name, _size(piece.printed_size), _size(piece.fired_size), shown)
    console.print(table)
    console.print(f"- {cost_words(made.worth)}")
    for note in made.notes:
        console.print(f"- {on_screen(note)}")
    console.print(f"[bold]print[/bold]   {on_screen(str(paths['stl']))}", soft_wrap=True)
    console.print(f"[bold]measure[/bold] {on_screen(str(paths['page']))}", soft_wrap=True)
    console.print(f"[bold]type[/bold]    {on_screen(str(paths['sheet']))}", soft_wrap=True)


def _size(size: tuple[float, float, float]) -> str:
    return " x ".join(f"{side:.1f}" for side in size)


def _ranges(ids: list[str]) -> str:
    """First and last id of each letter: ``X1-X10, Y1-Y10``."""
    letters = dict.fromkeys(row[0] for row in ids)
    groups = [[row for row in ids if row[0] == letter] for letter in letters]
    numbers = [sorted(group, key=lambda row: int(row[1:])) for group in groups]
    return ", ".join(f"{group[0]}-{group[-1]}" for group in numbers)
