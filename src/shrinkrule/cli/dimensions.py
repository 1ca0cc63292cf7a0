"""``shrinkrule dimensions``: what there is to measure on a part, and how it will come out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shrinkrule.cli import compensate, options, shrinkage
from shrinkrule.errors import Option, SettingError

if TYPE_CHECKING:
    from shrinkrule.dimensions import Making, Toleranced
    from shrinkrule.mesh import Part
    from shrinkrule.settings import Settings


Listed = Annotated[
    Path | None,
    typer.Option(
        "--dimensions",
        metavar="CSV",
        help="List that this command wrote, with lower and upper limits filled in: the chance that "
        "the next part keeps them. Needs a table and a row.",
        show_default=False,
        rich_help_panel=options.MODEL,
        readable=False,  # the reader says it in one line
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "dimensions",
        no_args_is_help=True,
        epilog="Example: shrinkrule dimensions lever.stl --table table.csv --row 'bronze 3'",
    )(dimensions)


def dimensions(
    model: options.Model,
    table: shrinkage.TableFile = None,
    row: shrinkage.RowName = None,
    density: shrinkage.Density = None,
    extrapolate: shrinkage.Extrapolate = False,
    demo_table: shrinkage.Demo = False,
    unit: options.Unit = None,
    print_up: options.PrintUp = "z",
    turn_z: compensate.TurnZ = 0,
    nozzle: options.Nozzle = None,
    layer_height: options.LayerHeight = None,
    first_layer: compensate.FirstLayer = None,
    printer_corrected: compensate.Corrected = False,
    unite: options.Unite = False,
    out: options.OutDir = None,
    listed: Listed = None,
    json: options.Json = False,
) -> None:
    """List the bores, walls, steps and distances of a WANTED part.

    Flat faces and right cylinders are recognised on its facets. With a table
    and a row, each is given as it will print and as it will come out of the
    furnace. Writes NAME.dimensions.csv with all of them, to be handed back with
    limits. The model itself is never changed.
    """
    from shrinkrule.dimensions import (
        find_dimensions,
        judged,
        other_ways_up,
        promise_dimensions,
        read_limits,
    )
    from shrinkrule.report import dimensions_dict, dimensions_outputs, show_dimensions
    from shrinkrule.settings import Settings

    folder = options.folder_from(out)
    settings = Settings.for_model(
        model,
        options.flag_of,
        nozzle=nozzle,
        layer_height=layer_height,
        first_layer=first_layer,
        table=table,
        row=row,
    )
    part = options.part_from(model, unit, unite, allow_open=True, keep=not unite)
    making = _making(
        part, settings, (density, extrapolate, demo_table), (print_up, turn_z), printer_corrected
    )
    found = find_dimensions(part)
    promised = () if making is None else promise_dimensions(found.every, making)
    limits = {} if listed is None else read_limits(listed, found.every)
    if limits and making is None:
        raise SettingError(
            "limits need a calibrated batch",
            hint="give a table and a row",
            options=(Option.TABLE, Option.ROW),
        )
    kept: tuple[Toleranced, ...] = ()
    if limits and making is not None:
        ways = other_ways_up(part, making.row, print_up, making.made)
        kept = judged(promised, limits, making, ways)
    # The list itself may be written anew: it keeps its limits.
    files = dimensions_outputs(part, found, folder, [model, *settings.paths], promised, kept)
    if json:
        import json as codec

        typer.echo(codec.dumps(dimensions_dict(part, found, files, promised, kept), indent=2))
    else:
        from rich.console import Console

        show_dimensions(part, found, files, Console(highlight=False), promised, kept)


def _making(
    part: Part,
    settings: Settings,
    chosen: tuple[float | None, bool, bool],
    laid: tuple[str, int],
    printer_corrected: bool,
) -> Making | None:
    """How the part is made, where a row says so; None without a table."""
    from shrinkrule.compensation import LayerHeights, Print
    from shrinkrule.dimensions import making_of
    from shrinkrule.settings import printer_of, row_states

    density, extrapolate, demo = chosen
    if demo:
        settings = settings.without("calibration.table", "calibration.row")
    elif settings["calibration.table"].value is None and density is None:
        return None
    row, source = shrinkage.row_told(settings, density, extrapolate, demo)
    settings = settings.with_row(row_states(row, source))
    layer = printer_of(settings).layer_height_mm
    first = settings.number("printer.first_layer") or layer
    if printer_corrected:
        row = row.on_a_true_printer()
    print_up, turn_deg = laid
    made = Print(LayerHeights(layer, first))
    return making_of(part, row, print_up=print_up, turn_deg=turn_deg, made=made)
