"""What a report must hold before a traveler is made of it: each value that is read, and its kind.

A report is a file like any other: it may be cut short, edited, or of another version. It is held
against this once, so that what is missing is refused by its name and not met halfway.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, Field, ValidationError

from shrinkrule.dimensions import Kind
from shrinkrule.errors import FileError
from shrinkrule.physics.interval import Feature

_FAR: Final = 1e9
"""Beyond every length, mass and area of a part, in their units."""

Number = Annotated[float, Field(ge=-_FAR, le=_FAR)]
Positive = Annotated[float, Field(gt=0.0, le=_FAR)]
NotNegative = Annotated[float, Field(ge=0.0, le=_FAR)]
Point = Annotated[list[Number], Field(min_length=3, max_length=3)]
Name = Annotated[str, Field(min_length=1, max_length=255, pattern=r"^[^/\\\x00]+$")]
Row4 = Annotated[list[Number], Field(min_length=4, max_length=4)]


class _Interval(BaseModel):
    value: Positive | None
    half95: NotNegative | None


class _Mass(BaseModel):
    value: Positive
    half95: NotNegative | None


class _Estimate(BaseModel):
    value: Number
    u: NotNegative


class _Modulus(BaseModel):
    value: Positive
    u: NotNegative
    dof: Positive | None


class _Row(BaseModel):
    name: str
    material: str
    process: str
    firing_scatter_known: bool
    bead_offset_mm: _Estimate | None
    sag_modulus_kpa: _Modulus | None
    metal_mass_share: Positive | None
    metal_density_g_cm3: Positive | None


class _Calibration(BaseModel):
    row: _Row


class _Reading(BaseModel):
    in_print: Literal["X", "Y", "Z", "slanting"]
    between: Feature
    model_mm: Number
    green_mm: Positive
    fired_mm: _Interval
    sag_mm: Number | None = None


class _Dimension(BaseModel):
    number: Annotated[int, Field(ge=1, le=10**6)]
    kind: Kind
    between: Feature
    size_mm: Positive
    direction: Point
    at_mm: Point
    facets_round: int | None
    readings: Annotated[list[_Reading], Field(min_length=1, max_length=3)]
    ends_mm: Annotated[list[Point], Field(min_length=2, max_length=2)]
    sag_mm: Number | None = None


class _Setting(BaseModel):
    key: str
    value: str | Number | bool | None


class _Size(BaseModel):
    green_mm: NotNegative


class _Prediction(BaseModel):
    sizes: Annotated[list[_Size], Field(min_length=3, max_length=3)]
    green_volume_mm3: Positive | None
    green_mass_g: _Mass | None
    debound_mass_g: _Mass | None
    fired_mass_g: _Mass | None


class _Recipe(BaseModel):
    model: Name


class _Verdict(BaseModel):
    level: str


class _Furnace(BaseModel):
    spare_mm: Number
    turned_deg: Number


class _Room(BaseModel):
    reach_mm: Annotated[list[Number], Field(min_length=48, max_length=48)]
    height_mm: Positive


class _Sag(BaseModel):
    sag_mm: Number
    matters_over_mm: Number


class _Report(BaseModel):
    verdict: _Verdict
    recipe: _Recipe
    calibration: _Calibration
    settings: list[_Setting]
    outline_offset: str
    green_from_model: Annotated[list[Row4], Field(min_length=4, max_length=4)]
    furnace_up: Point
    prediction: _Prediction
    dimensions: list[_Dimension] | None
    furnace: _Furnace | None
    room_in_furnace: _Room
    sag_estimate: _Sag | None
    files: dict[str, Name]


_PRINTED_BY: Final = ("printer.nozzle", "printer.bead_width", "printer.layer_height")
_BALLAST: Final = ("furnace.ballast_below", "furnace.ballast_above")
_SHOWN: Final = 100


def require_shape(report: dict[str, Any], path: Path) -> None:
    """Refuse a report that does not hold what a traveler takes from it.

    Parameters
    ----------
    report : dict
        A report that was made by a row of a table.
    path : Path
        Its file, for messages.

    Raises
    ------
    FileError
        With the name of the first value that is missing or cannot be.
    """
    read = dict(report)
    if isinstance(listed := report.get("dimensions"), list):
        # Only those with a place on the drawing are read.
        read["dimensions"] = [
            one for one in listed if not isinstance(one, dict) or "ends_mm" in one
        ]
    try:
        _Report.model_validate_json(json.dumps(read), strict=True)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        name = ".".join(map(str, first["loc"]))[:_SHOWN]
        raise _damaged(path, f"{name}: {first['msg'][0].lower()}{first['msg'][1:]}") from error
    if not any(kind.startswith("green_") for kind in report["files"]):
        raise _damaged(path, "files: no green part is named")
    stated = {one["key"]: one["value"] for one in report["settings"]}
    for key in _PRINTED_BY:
        if not isinstance(stated.get(key), int | float):
            raise _damaged(path, f"settings: {key} is no number")
    for key in _BALLAST:
        if not isinstance(stated.get(key, 0.0), int | float | None):
            raise _damaged(path, f"settings: {key} is no number")
    turn = [row[:3] for row in report["green_from_model"][:3]]
    if not all(any(row) for row in turn) or not any(report["furnace_up"]):
        raise _damaged(path, "green_from_model, furnace_up: a direction without length")


def _damaged(path: Path, what: str) -> FileError:
    return FileError(
        f"the report is damaged, or of another version ({what})",
        where=str(path),
        hint="run compensate again, which writes a new one",
    )
