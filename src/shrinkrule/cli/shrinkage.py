"""Options that say by what a part shrinks, and what they name: a table's row, or factors."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from shrinkrule.cli import options
from shrinkrule.errors import SettingError
from shrinkrule.files.plain import real_path

if TYPE_CHECKING:
    from shrinkrule.calibration import CalibrationRow
    from shrinkrule.compensation import ScaleFactors
    from shrinkrule.settings import Settings

DEMO_ROW: Final = "bronze demo batch 90"
DEMO_SOURCE: Final = "the bundled table, materials INVENTED"

TableFile = Annotated[
    Path | None,
    typer.Option(
        "--table",
        "-t",
        metavar="CSV",
        help="Calibration table.",
        show_default=False,
        rich_help_panel=options.SHRINKAGE,
        readable=False,  # the reader says it in one line
    ),
]
RowName = Annotated[
    str | None,
    typer.Option(
        "--row",
        "-r",
        metavar="NAME",
        help="Row of the table to shrink by.",
        show_default=False,
        rich_help_panel=options.SHRINKAGE,
    ),
]
Density = Annotated[
    float | None,
    typer.Option(
        metavar="SHARE",
        help="Relative density aimed at, as 0.90: goes between the rows of the row's material.",
        show_default=False,
        rich_help_panel=options.SHRINKAGE,
    ),
]
Extrapolate = Annotated[
    bool,
    typer.Option(
        "--extrapolate",
        help="Allow a --density outside the calibrated ones.",
        rich_help_panel=options.SHRINKAGE,
    ),
]
Demo = Annotated[
    bool,
    typer.Option(
        "--demo-table",
        help="Use the bundled table of invented materials, to try the program.",
        rich_help_panel=options.SHRINKAGE,
    ),
]
Scale = Annotated[
    float | None,
    typer.Option(
        metavar="FACTOR",
        help="Oversize factor by hand, without a table: 1 / (1 - shrinkage), as 1.19.",
        show_default=False,
        rich_help_panel=options.SHRINKAGE,
    ),
]


def factors_by_hand(
    by_hand: tuple[float | None, float | None, float | None, float | None],
    others: tuple[object, ...],
) -> ScaleFactors | None:
    """Oversize factors XY, X, Y, Z from their options, or None; refused beside a table's."""
    from shrinkrule.compensation import ScaleFactors

    xy, x, y, z = by_hand
    if all(factor is None for factor in by_hand):
        return None
    if xy is not None and (x is not None or y is not None):
        raise SettingError(
            "XY and one of its axes cannot both be given",
            hint="give --scale-xy, or --scale-x and --scale-y",
        )
    x, y = (xy, xy) if xy is not None else (x, y)
    if x is None or y is None or z is None:
        raise SettingError(
            "one oversize factor alone is not enough",
            hint="give both --scale-xy and --scale-z, or --scale-x, --scale-y and --scale-z",
        )
    if any(other is not None for other in others):
        raise SettingError(
            "factors by hand and a table cannot both hold",
            hint="leave out either the factors or the table's options",
        )
    return ScaleFactors(x, y, z)


def row_told(
    settings: Settings, density: float | None, extrapolate: bool, demo: bool
) -> tuple[CalibrationRow, str]:
    """Row to shrink by, and where it came from in words, from the settings that hold."""
    from shrinkrule.settings import FILE_NAME

    table = settings["calibration.table"].value
    passed = Path(FILE_NAME)
    used = {real_path(Path(stated.name)) for stated in settings.files}
    if table is None and not demo and passed.is_file() and real_path(passed) not in used:
        raise SettingError(
            "no shrinkage is known",
            where=str(real_path(passed)),
            hint="this file is not used: settings come from the model's folder and those above it; "
            "move it there, or give --table and --row",
        )
    return row_from(
        None if table is None else Path(str(table)),
        settings.text("calibration.row"),
        density,
        extrapolate,
        demo,
    )


def row_from(
    table: Path | None, name: str | None, density: float | None, extrapolate: bool, demo: bool
) -> tuple[CalibrationRow, str]:
    """Row to shrink by, and where it came from in words, from the texts of its options."""
    from shrinkrule.calibration import Beyond, demo_table, find_row, read_table, row_at_density

    if demo and table is not None:
        raise SettingError("two tables are named", hint="leave out --table or --demo-table")
    if demo:
        rows, source = demo_table(), DEMO_SOURCE
        name = name or DEMO_ROW
    elif table is not None:
        rows, source = read_table(table), table.name
    else:
        raise SettingError(
            "no shrinkage is known",
            hint="give --table and --row, or state them in shrinkrule.toml, or give --scale-xy and "
            "--scale-z, or try --demo-table",
        )
    if name is None and density is not None and len({(r.material, r.process) for r in rows}) == 1:
        name = rows[0].name
    row = find_row(rows, name, source)
    if density is not None:
        beyond = Beyond.EXTRAPOLATE if extrapolate else Beyond.REFUSE
        row = row_at_density(rows, row, density, beyond)
    return row, source
