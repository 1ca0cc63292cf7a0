"""``shrinkrule walls``: the wall check alone."""

from __future__ import annotations

from typing import Annotated

import typer

from shrinkrule.cli import options

Scale = Annotated[
    float,
    typer.Option(
        help="Oversize factor to apply first, when MODEL is the wanted part. 1: it is green."
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "walls",
        no_args_is_help=True,
        epilog="Example: shrinkrule walls part.green.stl --nozzle 0.6",
    )(walls)


def walls(
    model: options.Model,
    scale_xy: Scale = 1.0,
    scale_z: Scale = 1.0,
    unit: options.Unit = None,
    print_up: options.PrintUp = "z",
    nozzle: options.Nozzle = None,
    bead_width: options.BeadWidth = None,
    layer_height: options.LayerHeight = None,
    floor_layers: options.FloorLayers = None,
    thick_limit: options.ThickLimit = None,
    coupon_section: options.CouponSection = None,
    unite: options.Unite = False,
    out: options.OutDir = None,
    json: options.Json = False,
    fail_on_thin: options.FailOnThin = False,
) -> None:
    """Check which walls, floors and gaps of a GREEN part the nozzle can make.

    Also works on a surface that is not closed, and says what cannot be trusted.
    Writes NAME.walls.ply and NAME.walls.glb: the part coloured by its wall
    thickness, for any viewer. The model itself is never changed.
    """
    from shrinkrule.compensation import ScaleFactors, green_part, way_up
    from shrinkrule.job import look_at_walls
    from shrinkrule.report import show_walls, walls_dict, walls_outputs
    from shrinkrule.settings import Settings, limits_of, printer_of
    from shrinkrule.walls import compile_ahead, thickness_map

    folder = options.folder_from(out)
    settings = Settings.for_model(
        model,
        nozzle=nozzle,
        bead_width=bead_width,
        layer_height=layer_height,
        floor_layers=floor_layers,
        thick_limit=thick_limit,
        coupon_section=coupon_section,
    )
    printer, limits = printer_of(settings), limits_of(settings)
    compile_ahead()
    with options.progress_bar(shown=not json) as progress:
        part = options.part_from(model, unit, True, unite)
        green = green_part(part.mesh, ScaleFactors.alike(scale_xy, scale_z), way_up(print_up))
        looked = look_at_walls(
            part,
            green,
            printer,
            limits,
            progress,
            coupon_section_mm=settings.number("limits.coupon_section"),
        )
        mapped = thickness_map(green.mesh, looked.report.shown)
        files = walls_outputs(looked, mapped, folder, inputs=[model, *settings.paths])
    if json:
        import json as codec

        typer.echo(codec.dumps(walls_dict(looked, files), indent=2))
    else:
        from rich.console import Console

        console = Console(highlight=False)
        show_walls(looked, files, console)
        options.show_remarks(settings, console)
    if fail_on_thin:
        options.require_pass(looked)
