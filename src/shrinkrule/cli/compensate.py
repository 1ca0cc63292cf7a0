"""``shrinkrule compensate``: the main job, from the wanted part to the green STL."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shrinkrule.cells import printable
from shrinkrule.cli import history, options, sag_options, shrinkage
from shrinkrule.cli.many_parts import (
    PART_GB,
    UNKNOWNS_GB,
    flags_of,
    free_gb,
    loads_of,
    models_in,
    run_all,
)
from shrinkrule.defaults import SAG_TOLERANCE_MM
from shrinkrule.errors import SettingError
from shrinkrule.files.output import require_plain_name

if TYPE_CHECKING:
    from shrinkrule.job import JobResult, Recipe, SagLook

Corrected = Annotated[
    bool,
    typer.Option(
        "--printer-corrected",
        help="The printer's axes were corrected, since the coupon was printed, by what the row "
        "says of them.",
        rich_help_panel=options.SHRINKAGE,
    ),
]
TurnZ = Annotated[
    int,
    typer.Option(
        metavar="DEG",
        help="Turn about Z on the bed, to the left: 0, 90, 180 or 270. X and Y may shrink apart.",
        rich_help_panel=options.MODEL,
    ),
]
FirstLayer = Annotated[
    str | None,
    typer.Option(
        metavar="MM",
        help="Height of the first layer. Without it: that of the others.",
        show_default=False,
        rich_help_panel=options.PRINTER,
    ),
]
WholeLayers = Annotated[
    bool,
    typer.Option(
        "--whole-layers",
        help="Stretch the green part in Z by the little that makes its height whole layers.",
        rich_help_panel=options.SHRINKAGE,
    ),
]
ApplyOffset = Annotated[
    bool,
    typer.Option(
        "--apply-offset",
        help="Move the outlines of the green mesh by the row's bead offset, instead of setting "
        "an outline offset in the print; and the faces on the plate by what the first layer does.",
        rich_help_panel=options.SHRINKAGE,
    ),
]

Memory = Annotated[
    float | None,
    typer.Option(
        metavar="GB",
        help="Memory that several parts together may take, each in a process of its own. Without "
        "it: half of what is free.",
        min=0.1,
        show_default=False,
        rich_help_panel=options.RESULT,
    ),
]


Name = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="What the files' names begin with. Without it: the model's name.",
        show_default=False,
        rich_help_panel=options.RESULT,
    ),
]
Format = Annotated[
    str,
    typer.Option(
        "--format",
        metavar="stl|3mf",
        help="Format of the green part; 3mf states its unit, and holds the calibration.",
        rich_help_panel=options.RESULT,
    ),
]
Force = Annotated[
    bool,
    typer.Option(
        "--force",
        help="Replace the result of another recipe without asking.",
        rich_help_panel=options.RESULT,
    ),
]
Verbose = Annotated[
    bool,
    typer.Option(
        "--verbose",
        "-v",
        help="Show also what is fine, masses, and what was read, assumed and done.",
        rich_help_panel=options.RESULT,
    ),
]
GreenAgain = Annotated[
    bool,
    typer.Option(
        "--green-again",
        help="Enlarge a green part made here once more.",
        rich_help_panel=options.MODEL,
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "compensate",
        no_args_is_help=True,
        epilog="Example: shrinkrule compensate lever.stl --table table.csv --row 'bronze 3' "
        "--nozzle 0.6",
    )(compensate)


def compensate(
    context: typer.Context,
    models: options.Models,
    table: shrinkage.TableFile = None,
    row: shrinkage.RowName = None,
    density: shrinkage.Density = None,
    extrapolate: shrinkage.Extrapolate = False,
    demo_table: shrinkage.Demo = False,
    scale_xy: shrinkage.Scale = None,
    scale_x: shrinkage.Scale = None,
    scale_y: shrinkage.Scale = None,
    scale_z: shrinkage.Scale = None,
    unit: options.Unit = None,
    print_up: options.PrintUp = "z",
    turn_z: TurnZ = 0,
    nozzle: options.Nozzle = None,
    bead_width: options.BeadWidth = None,
    layer_height: options.LayerHeight = None,
    first_layer: FirstLayer = None,
    floor_layers: options.FloorLayers = None,
    thick_limit: options.ThickLimit = None,
    coupon_section: options.CouponSection = None,
    apply_offset: ApplyOffset = False,
    whole_layers: WholeLayers = False,
    printer_corrected: Corrected = False,
    box: options.Box = None,
    crucible: options.Crucible = None,
    sag: sag_options.TakeOff = False,
    no_sag: sag_options.LeaveOut = False,
    furnace_up: sag_options.FurnaceUp = None,
    support: sag_options.Support = None,
    stuck: sag_options.Stuck = False,
    flat_base: sag_options.FlatBase = False,
    sag_tolerance: sag_options.Tolerance = None,
    sag_detail: sag_options.Detail = "usual",
    allow_open: options.AllowOpen = False,
    unite: options.Unite = False,
    keep_bodies: options.KeepBodies = False,
    green_again: GreenAgain = False,
    out: options.OutDir = None,
    name: Name = None,
    green_format: Format = "stl",
    force: Force = False,
    memory: Memory = None,
    no_history: history.NoHistory = False,
    open_report: options.Open = False,
    json: options.Json = False,
    verbose: Verbose = False,
    fail_on_thin: options.FailOnThin = False,
) -> None:
    """Scale the wanted part to the green part to print, check it, and report.

    The screen has what to act on: the verdict, what is not fine, sizes, mends and
    files; --verbose shows the rest, and the report has all of it. Writes
    NAME.green.stl (or .3mf) to slice, NAME.report.html to read, and NAME.report.json for
    programs. Of several models or a folder each is done by itself, and
    parts.summary.html tells of all of them and of which share a crucible. A model
    itself is never changed; a result of another recipe under these names is
    replaced only after asking.
    """
    if len(models) > 1 or models[0].is_dir():
        if name is not None:
            raise SettingError(
                "--name serves one model", hint="leave it out: each file is named after its model"
            )
        unknowns = sag_options.detail_from(sag_detail).max_unknowns
        part_gb = PART_GB + (UNKNOWNS_GB * unknowns if sag else 0.0)
        code = _many(context, models, out, memory, part_gb, json, open_report)
        raise typer.Exit(code)
    (model,) = models
    command = printable(str(context.obj or ""))
    from shrinkrule.ahead import compile_ahead

    # First of all: on a first run the other processes compile while this one loads its modules.
    compile_ahead(with_sag=not no_sag)
    from shrinkrule.job import Outline, Recipe
    from shrinkrule.job import compensate as run_job
    from shrinkrule.report.outputs import job_paths
    from shrinkrule.settings import (
        Settings,
        bed_of,
        furnace_of,
        limits_of,
        printer_of,
        row_states,
        spool_of,
    )

    folder = options.folder_from(out)
    if sag and no_sag:
        raise SettingError("--sag and --no-sag cannot both hold", hint="leave out one of them")
    by_hand = scale_xy, scale_x, scale_y, scale_z
    factors = shrinkage.factors_by_hand(by_hand, (table, row, density, demo_table or None))
    settings = Settings.for_model(
        model,
        options.flag_of,
        nozzle=nozzle,
        bead_width=bead_width,
        layer_height=layer_height,
        first_layer=first_layer,
        floor_layers=floor_layers,
        thick_limit=thick_limit,
        coupon_section=coupon_section,
        box=box,
        crucible=crucible,
        sag_tolerance=sag_tolerance,
        table=table,
        row=row,
    )
    if factors is not None or demo_table:
        settings = settings.without("calibration.table", "calibration.row")
    calibration, source = None, ""
    if factors is None:
        calibration, source = shrinkage.row_told(settings, density, extrapolate, demo_table)
        settings = settings.with_row(row_states(calibration, source))
    lies = None
    if not no_sag:
        lies = sag_options.settings_from(
            furnace_up or print_up,
            support,
            stuck,
            flat_base,
            settings.number("limits.sag_tolerance") or SAG_TOLERANCE_MM,
            sag_detail,
        )
    recipe = Recipe(
        printer=printer_of(settings),
        row=calibration,
        factors=factors,
        row_source=source,
        print_up=print_up,
        limits=limits_of(settings),
        outline=Outline.IN_MESH if apply_offset else Outline.IN_PRINT,
        furnace=furnace_of(settings),
        sag=lies if sag else None,
        lies=lies,
        look_at_sag=not no_sag,
        coupon_section_mm=settings.number("limits.coupon_section"),
        turn_deg=turn_z,
        printer_corrected=printer_corrected,
        first_layer_mm=settings.number("printer.first_layer"),
        whole_layers=whole_layers,
        spool=spool_of(settings),
        settings=settings,
        bed_mm=bed_of(settings),
    )
    inputs = [model, *settings.paths]
    _look_ahead(job_paths(folder, _stem(name, model), green_format), inputs, recipe, force)
    with options.progress_bar(shown=not json) as progress:
        part = options.part_from(model, unit, unite, allow_open=allow_open, keep=keep_bodies)
        if not green_again:
            part.require_wanted()
        result = run_job(part, recipe, progress)
        from shrinkrule.report import job_outputs

        outputs = job_outputs(result, folder, inputs, name, command, green_format)
    # Before the screen, which may be closed or full: the part is made, whatever is read of it.
    why = "" if no_history else history.remember(settings, model, outputs)
    _show(result, outputs, json, verbose)
    if why:
        typer.echo(why, err=True)
    if open_report:
        options.open_page(outputs["html"])
    if fail_on_thin:
        options.require_pass(result.walls)


def _stem(name: str | None, model: Path) -> str:
    """What the files' names begin with."""
    if name is None:
        return model.stem
    require_plain_name(name, "--name")
    return name


def _look_ahead(files: dict[str, Path], inputs: list[Path], recipe: Recipe, force: bool) -> None:
    """Before the work: refuse names that cannot be written; ask where another result stands."""
    from shrinkrule.files import OutputSet
    from shrinkrule.report.foundation import green_of
    from shrinkrule.report.outputs import what_does_not_match, what_is_replaced

    outputs = OutputSet(inputs)
    for path in files.values():
        outputs.add(path, b"")
    if torn := what_does_not_match(files):
        typer.echo(printable(torn), err=True)
    if not force and (other := what_is_replaced(files, inputs[0], recipe)):
        options.confirm(
            f"{green_of(files)} holds {other}. Replace it?",
            "choose another --name or --out, or add --force",
        )


def _many(
    context: typer.Context,
    paths: list[Path],
    out: Path | None,
    memory: float | None,
    part_gb: float,
    as_json: bool,
    open_report: bool,
) -> int:
    """Do each model in a process of its own, sum up, and give the worst exit code."""
    from shrinkrule.report.many import many_dict, many_outputs, show_many

    folder = options.folder_from(out)
    models = models_in(paths)
    memory_gb = memory or free_gb()
    flags = flags_of(context, ("memory", "json", "open_report", "verbose"))
    with options.progress_bar(shown=not as_json) as progress:
        outcomes = run_all(models, flags, memory_gb, part_gb, progress)
    plans = loads_of(outcomes, context.params["box"], context.params["crucible"])
    page = many_outputs(outcomes, plans, folder)
    if as_json:
        import json

        typer.echo(json.dumps(many_dict(outcomes, plans), indent=2))
    else:
        from rich.console import Console

        show_many(outcomes, plans, page, Console(highlight=False))
    if open_report:
        options.open_page(page)
    return max(outcome.code for outcome in outcomes)


def _show(result: JobResult, files: dict[str, Path], as_json: bool, verbose: bool) -> None:
    from shrinkrule.report import show_job

    if as_json:
        typer.echo(files["json"].read_text(encoding="utf-8").rstrip())
    else:
        from rich.console import Console

        console = Console(highlight=False)
        show_job(result, files, console, verbose)
        if result.recipe.settings is not None:
            options.show_remarks(result.recipe.settings, console)
        if flags := _sag_flags(result.sag_look):
            console.print(f"sag: {flags}", soft_wrap=True)


def _sag_flags(look: SagLook) -> str:
    """Flags for what the verdict advises about the sag; empty where it advises nothing."""
    said = [options.FLAGS[option] for option in look.remedies]
    if look.matters and not look.lost:
        said.append("--sag solves it in full" if look.unclear else "--sag takes it off")
    if look.better is not None:
        said.append(f"--furnace-up {look.better.name} fires it that way up")
    if look.matters:
        said.append("--no-sag leaves it out")
    return "; ".join(said)
