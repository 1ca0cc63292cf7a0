"""``shrinkrule ways-up``: the six ways a part may be printed and fired, ranked."""

from __future__ import annotations

import typer

from shrinkrule.cli import options, sag_options, shrinkage


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "ways-up",
        no_args_is_help=True,
        epilog="Example: shrinkrule ways-up lever.stl --table table.csv --row 'bronze 3'",
    )(ways_up)


def ways_up(
    model: options.Model,
    table: shrinkage.TableFile = None,
    row: shrinkage.RowName = None,
    density: shrinkage.Density = None,
    extrapolate: shrinkage.Extrapolate = False,
    demo_table: shrinkage.Demo = False,
    unit: options.Unit = None,
    nozzle: options.Nozzle = None,
    box: options.Box = None,
    crucible: options.Crucible = None,
    stuck: sag_options.Stuck = False,
    unite: options.Unite = False,
    out: options.OutDir = None,
    open_report: options.Open = False,
    json: options.Json = False,
) -> None:
    """Rank the six ways up for printing and firing together.

    Each way is solved for its sag in the fired size, resting on the setter alone, and looked at for
    what printing it that way leaves unheld, and for how X, Y and Z of the model are enlarged then:
    the axis that points up shrinks as Z does. Writes NAME.ways-up.html, which draws each of them.
    """
    from shrinkrule.job import weigh_ways
    from shrinkrule.job.sag_look import SAG_MATTERS_MM
    from shrinkrule.report import show_ways_up, ways_outputs, ways_up_dict
    from shrinkrule.settings import Settings, furnace_of, printer_of, row_states

    folder = options.folder_from(out)
    told = Settings.for_model(
        model, options.flag_of, table=table, row=row, nozzle=nozzle, box=box, crucible=crucible
    )
    if demo_table:
        told = told.without("calibration.table", "calibration.row")
    calibration, source = shrinkage.row_told(told, density, extrapolate, demo_table)
    told = told.with_row(row_states(calibration, source))
    settings = sag_options.settings_from("z", None, stuck, False)
    with options.progress_bar(shown=not json) as progress:
        part = options.part_from(model, unit, unite)
        ways = weigh_ways(part, calibration, printer_of(told), settings, furnace_of(told), progress)
        inputs = [model, *told.paths]
        files = ways_outputs(part, calibration, ways, SAG_MATTERS_MM, folder, inputs)
    if json:
        import json as codec

        typer.echo(codec.dumps(ways_up_dict(part, calibration, source, ways, files), indent=2))
    else:
        from rich.console import Console

        console = Console(highlight=False)
        show_ways_up(part, calibration, ways, files, console)
        best = ways[0]
        if best.way.stands and best.fits:
            name = best.way.name
            console.print(
                f"print and fire with [bold]--print-up {name}[/bold]; fire alone with "
                f"[bold]--furnace-up {name}[/bold]"
            )
    if open_report:
        options.open_page(files["html"])
