"""``shrinkrule ways-up``: the six ways a part may lie in the furnace, ranked."""

from __future__ import annotations

import typer

from shrinkrule.cli import compensate, options, sag_options


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "ways-up",
        no_args_is_help=True,
        epilog="Example: shrinkrule ways-up lever.stl --table table.csv --row 'bronze 3'",
    )(ways_up)


def ways_up(
    model: options.Model,
    table: compensate.TableFile = None,
    row: compensate.RowName = None,
    density: compensate.Density = None,
    extrapolate: compensate.Extrapolate = False,
    demo_table: compensate.Demo = False,
    unit: options.Unit = None,
    stuck: sag_options.Stuck = False,
    unite: options.Unite = False,
    json: options.Json = False,
) -> None:
    """Rank the six ways up in the furnace by sag, height and footprint.

    The part is solved in its fired size, resting on the setter alone. Writes no file.
    """
    from shrinkrule.report import show_ways_up, ways_up_dict
    from shrinkrule.sag import rank_ways_up, sag_material
    from shrinkrule.settings import Settings

    told = Settings.for_model(model, table=table, row=row)
    if demo_table:
        told = told.without("calibration.table", "calibration.row")
    calibration, source = compensate.row_told(told, density, extrapolate, demo_table)
    material = sag_material(calibration)
    settings = sag_options.settings_from("z", None, stuck, False)
    with options.progress_bar(shown=not json) as progress:
        part = options.part_from(model, unit, False, unite)
        ways = rank_ways_up(part.mesh, material, settings, progress=progress)
    if json:
        import json as codec

        typer.echo(codec.dumps(ways_up_dict(part, calibration, source, ways), indent=2))
    else:
        from rich.console import Console

        console = Console(highlight=False)
        show_ways_up(part, calibration, ways, console)
        if ways[0].stands:
            console.print(f"compensate with [bold]--furnace-up {ways[0].name}[/bold]")
