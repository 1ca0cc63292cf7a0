"""The parts of one load, out of the reports that ``compensate`` wrote beside their green parts.

A report holds all that was decided and predicted, so that the traveler says what was made and not
what other options would make.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from shrinkrule.errors import SettingError
from shrinkrule.files.checksum import sha256_of
from shrinkrule.files.output import green_kind
from shrinkrule.furnace import BoxFurnace, Furnace, parse_box, parse_crucible
from shrinkrule.history.made import read_report
from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.interval import Feature, Interval
from shrinkrule.review.readings import sag_share
from shrinkrule.sheet import Kind
from shrinkrule.traveler.shape import require_shape

LETTERS: Final = "ABCDEFGHJKLNPQRTUVW"
"""Letters of parts: none that a number, a direction or a setting begins with."""

KINDS: Final = {
    Feature.OUTSIDE: Kind.OUTSIDE,
    Feature.SLOT: Kind.INSIDE,
    Feature.BORE: Kind.BORE,
    Feature.STEP: Kind.STEP,
}

_SIDE: Final = {Feature.OUTSIDE: 1.0, Feature.SLOT: -1.0, Feature.BORE: -1.0, Feature.STEP: 0.0}
"""Pairs of surfaces that the outline offset of the print takes in."""


@dataclass(frozen=True)
class Expected:
    """One length that is measured, as it is expected.

    Parameters
    ----------
    mark : str
        Its mark on sheet and page: the part's letter, the dimension's number, and its direction
        where a round is measured along two.
    number : int
        Number of the dimension on the drawing.
    what : str
        What it is.
    axis : str
        ``x``, ``y`` or ``z`` of the print.
    kind : Kind
        What it lies between.
    wanted_mm, sliced_mm : float
        Of the wanted part; of the printed outlines, the outline offset taken off.
    green_mm, fired_mm : Interval
        With half widths of 95 % intervals.
    sag_mm : float or None
        What the sag is estimated to add to it.
    place : (float, float, float)
        Where, in the model's axes, mm.
    """

    mark: str
    number: int
    what: str
    axis: str
    kind: Kind
    wanted_mm: float
    sliced_mm: float
    green_mm: Interval
    fired_mm: Interval
    sag_mm: float | None
    place: tuple[float, float, float]


@dataclass(frozen=True)
class TravelingPart:
    """One part of a load.

    Parameters
    ----------
    letter, name : str
        Its letter on the sheet, and its name.
    report : dict
        The report of it.
    green : Path
        Its green file.
    green_sha256 : str
        Checksum of that.
    lengths : tuple of Expected
        What is measured on it.
    not_measured : tuple of str
        Dimensions among the first that no sheet can take, with the reason.
    """

    letter: str
    name: str
    report: dict[str, Any]
    green: Path
    green_sha256: str
    lengths: tuple[Expected, ...]
    not_measured: tuple[str, ...]

    def mass(self, stage: str) -> Interval | None:
        """Expected mass in g of a stage: ``green``, ``debound`` or ``fired``; None if not known."""
        plain = self.report["prediction"][f"{stage}_mass_g"]
        return None if plain is None else Interval(plain["value"], plain["half95"])


@dataclass(frozen=True)
class Load:
    """Parts that are fired together.

    Parameters
    ----------
    parts : tuple of TravelingPart
        The parts.
    row : dict
        Row of the table that all of them were made by, as JSON values.
    settings : dict
        Settings of the first part by their keys.
    furnace : BoxFurnace, CrucibleFurnace or None
        What they are fired in, where that is stated.
    """

    parts: tuple[TravelingPart, ...]
    row: dict[str, Any]
    settings: dict[str, Any]
    furnace: Furnace | None


def load_of(reports: Sequence[Path]) -> Load:
    """Put the parts of some reports into one load.

    Parameters
    ----------
    reports : sequence of Path
        Files ``NAME.report.json``, each beside its green part.

    Returns
    -------
    Load
        The load.

    Raises
    ------
    FileError
        For a file that is no report, or whose green part is not beside it.
    SettingError
        For too many parts, parts of different rows, or one made without a row.
    """
    if len(reports) > len(LETTERS):
        raise SettingError(
            f"{len(reports)} parts do not go on one sheet",
            hint=f"make a sheet for each {len(LETTERS)} of them",
        )
    read = [read_report(path) for path in reports]
    for path, report in zip(reports, read, strict=True):
        _require_promise(path, report)
        require_shape(report, path)
        _require_same_row(path, report, read[0])
    settings = {one["key"]: one["value"] for one in read[0]["settings"]}
    parts = [
        _part(letter, path, report)
        for letter, path, report in zip(LETTERS, reports, read, strict=False)
    ]
    return Load(tuple(parts), read[0]["calibration"]["row"], settings, _furnace(settings))


def _require_promise(path: Path, report: dict[str, Any]) -> None:
    if report.get("calibration", {}) is None:
        raise SettingError(
            "it was made by factors typed by hand, so that nothing is promised of it",
            where=str(path),
            hint="make it by a row of a table",
        )


def _require_same_row(path: Path, report: dict[str, Any], first: dict[str, Any]) -> None:
    names = [r["calibration"]["row"]["name"] for r in (first, report)]
    if names[0] != names[1]:
        raise SettingError(
            f"it was made by row {names[1]!r}, the first part by {names[0]!r}",
            where=str(path),
            hint="fire parts of one row together, and give each row a sheet of its own",
        )


def _part(letter: str, path: Path, report: dict[str, Any]) -> TravelingPart:
    written = report["files"]
    green = path.with_name(written[green_kind(written)])
    lengths: list[Expected] = []
    missing: list[str] = []
    for one in numbered_of(report):
        taken = _expected(letter, one, report["calibration"]["row"])
        lengths += taken
        if not taken:
            reason = "it slants" if _slants(one) else "no coupon of the row shows such a length"
            missing.append(f"{one['number']} ({one['kind']}): {reason}")
    return TravelingPart(
        letter=letter,
        name=Path(report["recipe"]["model"]).stem,
        report=report,
        green=green,
        green_sha256=sha256_of(green),
        lengths=tuple(lengths),
        not_measured=tuple(missing),
    )


def numbered_of(report: dict[str, Any]) -> list[dict[str, Any]]:
    """Dimensions that a report numbers first and draws: those that a caliper takes.

    Parameters
    ----------
    report : dict
        As ``compensate`` wrote it.

    Returns
    -------
    list of dict
        In their order.
    """
    return [one for one in report["dimensions"] or [] if "ends_mm" in one]


def _slants(one: dict[str, Any]) -> bool:
    return any(reading["in_print"] == "slanting" for reading in one["readings"])


def _expected(letter: str, one: dict[str, Any], row: dict[str, Any]) -> list[Expected]:
    """Lengths of a dimension that a sheet takes: those along an axis that the row promises.

    A row of one firing promises none; its parts are measured all the same, to learn from.
    """
    readings = one["readings"]
    unknown = any(reading["fired_mm"]["half95"] is None for reading in readings)
    lost = any(reading["fired_mm"]["value"] is None for reading in readings)
    if _slants(one) or lost or (unknown and row["firing_scatter_known"]):
        return []
    bead = 0.0 if row["bead_offset_mm"] is None else row["bead_offset_mm"]["value"]
    found = []
    for reading in readings:
        feature, axis = Feature(reading["between"]), reading["in_print"].lower()
        spread = 0.0 if axis == "z" else 2.0 * bead * _SIDE[feature]
        fired, green = Interval(**reading["fired_mm"]), reading["green_mm"]
        half = None if fired.half95 is None else fired.half95 * green / fired.value
        taken_off = reading.get("sag_mm") or None
        fired = _with_sag(fired, one.get("sag_mm"), row)
        along = reading["in_print"] if len(readings) > 1 else ""
        found.append(
            Expected(
                mark=f"{letter}{one['number']}{along}",
                number=one["number"],
                what=one["kind"],
                axis=axis,
                kind=KINDS[feature],
                wanted_mm=one["size_mm"],
                sliced_mm=reading["model_mm"] - spread,
                green_mm=Interval(green, half),
                fired_mm=fired,
                sag_mm=one.get("sag_mm") if taken_off is None else taken_off,
                place=tuple(one["at_mm"]),
            )
        )
    return found


def _with_sag(fired: Interval, sag_mm: float | None, row: dict[str, Any]) -> Interval:
    """Fired length with the sag that is estimated of it, as the review expects it."""
    if sag_mm is None or row["sag_modulus_kpa"] is None:
        return fired
    half = fired.half95
    unsure = 2.0 * sag_share(Estimate(**{**row["sag_modulus_kpa"], "dof": math.inf})) * sag_mm
    return Interval(fired.value + sag_mm, None if half is None else math.hypot(half, unsure))


def _furnace(settings: dict[str, Any]) -> Furnace | None:
    """Furnace that the settings state, with its ballast."""
    box, crucible = settings.get("furnace.box"), settings.get("furnace.crucible")
    if box is None and crucible is None:
        return None
    furnace: Furnace = parse_crucible(str(crucible)) if box is None else parse_box(str(box))
    below = settings.get("furnace.ballast_below") or 0.0
    above = settings.get("furnace.ballast_above") or 0.0
    if isinstance(furnace, BoxFurnace):
        return replace(furnace, ballast_below_mm=below, ballast_above_mm=above)
    return replace(furnace, ballast_below_mm=below, ballast_above_mm=above)
