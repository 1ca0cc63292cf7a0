"""``shrinkrule walls``: the wall check alone, of a green part or of the wanted one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from shrinkrule.cli import options, shrinkage
from shrinkrule.errors import SettingError

if TYPE_CHECKING:
    from shrinkrule.calibration import CalibrationRow
    from shrinkrule.compensation import ScaleFactors
    from shrinkrule.mesh import Part
    from shrinkrule.printer import Printer
    from shrinkrule.settings import Settings

AS_GREEN: Final = "as the GREEN part, in the size of its file"

Wanted = Annotated[
    bool,
    typer.Option(
        "--wanted",
        help="MODEL is the wanted part: scale it first, by the row that settings state. --table, "
        "--row, --density, --demo-table and --scale-xy say the same.",
        rich_help_panel=options.SHRINKAGE,
    ),
]
Scale = Annotated[
    float | None,
    typer.Option(
        metavar="FACTOR",
        help="Oversize factor by hand, when MODEL is the wanted part.",
        show_default=False,
        rich_help_panel=options.SHRINKAGE,
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
    wanted: Wanted = False,
    table: shrinkage.TableFile = None,
    row: shrinkage.RowName = None,
    density: shrinkage.Density = None,
    extrapolate: shrinkage.Extrapolate = False,
    demo_table: shrinkage.Demo = False,
    scale_xy: Scale = None,
    scale_z: Scale = None,
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
    """Check which walls, floors and gaps of a part the nozzle can make.

    MODEL is the GREEN part, as compensate writes it, unless an option says that it
    is the wanted one: then it is scaled first, by a row or by factors. Also works on
    a surface that is not closed, and says what cannot be trusted.

    Writes NAME.walls.ply and NAME.walls.glb: the part coloured by its wall
    thickness, for any viewer. The model itself is never changed.
    """
    from shrinkrule.ahead import compile_ahead
    from shrinkrule.walls import thickness_map

    # First of all: on a first run the other processes compile while this one loads its modules.
    compile_ahead(with_sag=False)
    from shrinkrule.compensation import green_part, way_up
    from shrinkrule.job import look_at_walls
    from shrinkrule.report import show_walls, walls_dict, walls_outputs
    from shrinkrule.settings import Settings, limits_of, printer_of

    folder = options.folder_from(out)
    settings = Settings.for_model(
        model,
        options.flag_of,
        nozzle=nozzle,
        bead_width=bead_width,
        layer_height=layer_height,
        floor_layers=floor_layers,
        thick_limit=thick_limit,
        coupon_section=coupon_section,
        table=table,
        row=row,
    )
    shrunk = None
    by_hand = shrinkage.factors_by_hand(
        (scale_xy, None, None, scale_z), (table, row, density, demo_table or None)
    )
    if by_hand is None and (wanted or demo_table or {table, row, density} != {None}):
        _refuse_green(model)
        settings, shrunk = _with_row(settings, density, extrapolate, demo_table)
    printer, limits = printer_of(settings), limits_of(settings)
    with options.progress_bar(shown=not json) as progress:
        part = options.part_from(model, unit, unite, allow_open=True, keep=not unite)
        factors, taken_as = _scale(part, by_hand, shrunk, printer, print_up)
        green = green_part(part.mesh, factors, way_up(print_up))
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

        typer.echo(codec.dumps({**walls_dict(looked, files), "taken_as": taken_as}, indent=2))
    else:
        from rich.console import Console

        from shrinkrule.cells import on_screen

        console = Console(highlight=False)
        console.print(f"{on_screen(model.name)} is looked at {on_screen(taken_as)}")
        show_walls(looked, files, console)
        options.show_remarks(settings, console)
    if fail_on_thin:
        options.require_pass(looked)


def _refuse_green(model: Path) -> None:
    """Refuse to scale what is called a green part already."""
    if model.stem.casefold().endswith(".green"):
        raise SettingError(
            "this is a green part by its name, and would be enlarged a second time",
            where=str(model),
            hint="leave out the row and --wanted, or name the wanted part",
        )


def _with_row(
    settings: Settings, density: float | None, extrapolate: bool, demo: bool
) -> tuple[Settings, tuple[CalibrationRow, str]]:
    """Settings with what the row states, the row, and where it stands."""
    from shrinkrule.settings import row_states

    if demo:
        settings = settings.without("calibration.table", "calibration.row")
    row, source = shrinkage.row_told(settings, density, extrapolate, demo)
    return settings.with_row(row_states(row, source)), (row, source)


def _scale(
    part: Part,
    by_hand: ScaleFactors | None,
    shrunk: tuple[CalibrationRow, str] | None,
    printer: Printer,
    print_up: str,
) -> tuple[ScaleFactors, str]:
    """Oversize factors to apply first, and what the part is looked at as, in words."""
    from shrinkrule.compensation import ScaleFactors
    from shrinkrule.job import Recipe, for_part

    if by_hand is not None:
        return by_hand, f"as the wanted part, scaled by {by_hand}"
    if shrunk is None:
        return ScaleFactors(1.0, 1.0, 1.0), AS_GREEN
    row, source = shrunk
    factors = for_part(Recipe(printer, row, print_up=print_up), part).scale
    return factors, f"as the wanted part, scaled by {factors} of row {row.name!r} of {source}"
