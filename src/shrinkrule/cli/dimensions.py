"""``shrinkrule dimensions``: what there is to measure on a part."""

from __future__ import annotations

import typer

from shrinkrule.cli import options


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "dimensions",
        no_args_is_help=True,
        epilog="Example: shrinkrule dimensions lever.stl",
    )(dimensions)


def dimensions(
    model: options.Model,
    unit: options.Unit = None,
    unite: options.Unite = False,
    out: options.OutDir = None,
    json: options.Json = False,
) -> None:
    """List the bores, walls, steps and distances of a WANTED part.

    Flat faces and right cylinders are recognised on its facets. Writes
    NAME.dimensions.csv with all of them. The model itself is never changed.
    """
    from shrinkrule.dimensions import find_dimensions
    from shrinkrule.report import dimensions_dict, dimensions_outputs, show_dimensions

    folder = options.folder_from(out)
    part = options.part_from(model, unit, True, unite)
    found = find_dimensions(part)
    files = dimensions_outputs(part, found, folder, inputs=[model])
    if json:
        import json as codec

        typer.echo(codec.dumps(dimensions_dict(part, found, files), indent=2))
    else:
        from rich.console import Console

        show_dimensions(part, found, files, Console(highlight=False))
