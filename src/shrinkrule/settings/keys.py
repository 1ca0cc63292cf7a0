"""The keys of ``shrinkrule.toml``: their names, ranges, meanings, and what is built in.

A key is named as the option of the command line that states the same.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import Final

from shrinkrule.defaults import (
    CLOSED_FLOOR_LAYERS,
    LARGEST_ROOM_MM,
    NOZZLE_MM,
    SAG_TOLERANCE_MM,
    THICK_MM,
)
from shrinkrule.settings.key import Key, Kind

_CLOSE: Final = 0.5
"""Likeness of two names, 0 to 1, from which one is offered for the other."""

_KEYS: Final = (
    Key(
        "printer.nozzle",
        Kind.LENGTH,
        "the bore of the nozzle, mm",
        "0.6",
        0.01,
        20.0,
        NOZZLE_MM,
        unit="mm",
    ),
    Key(
        "printer.bead_width",
        Kind.LENGTH,
        "the width of one printed line, mm; without it 1.1 times the nozzle",
        "0.66",
        0.01,
        20.0,
        unit="mm",
        of="printer.nozzle",
    ),
    Key(
        "printer.layer_height",
        Kind.LENGTH,
        "the height of one layer, mm; without it half the nozzle",
        "0.3",
        0.01,
        20.0,
        unit="mm",
        of="printer.nozzle",
    ),
    Key(
        "printer.first_layer",
        Kind.LENGTH,
        "the height of the first layer, mm; without it that of the others",
        "0.35",
        0.01,
        20.0,
        unit="mm",
        of="printer.nozzle",
    ),
    Key(
        "printer.bed",
        Kind.BED,
        "the room that the printer can fill, length x width x height, mm",
        '"220x220x250"',
        10.0,
        LARGEST_ROOM_MM,
        unit="mm",
    ),
    Key(
        "filament.diameter",
        Kind.LENGTH,
        "the diameter of the filament, mm",
        "1.75",
        0.5,
        10.0,
        unit="mm",
    ),
    Key(
        "filament.density",
        Kind.NUMBER,
        "the density of the filament with its binder, g/cm3",
        "4.9",
        0.5,
        25.0,
        unit="g/cm3",
    ),
    Key(
        "filament.price",
        Kind.NUMBER,
        "the price of one kilogram of filament",
        "95.0",
        0.0,
        1e6,
        unit="per kg",
    ),
    Key("filament.currency", Kind.TEXT, "the currency of the price", '"EUR"'),
    Key(
        "calibration.table",
        Kind.FILE,
        "the calibration table; its name starts from the folder of this file",
        '"table.csv"',
    ),
    Key(
        "calibration.row",
        Kind.TEXT,
        "the row of the table to shrink by",
        '"bronze 3"',
        of="calibration.table",
    ),
    Key(
        "furnace.box",
        Kind.BOX,
        "the inside of a box, length x width x height, mm; or else a crucible",
        '"80x60x50"',
        10.0,
        LARGEST_ROOM_MM,
        unit="mm",
        instead_of="furnace.crucible",
    ),
    Key(
        "furnace.crucible",
        Kind.ROUND,
        "the inside of a round crucible, diameter x height, mm; or else a box",
        '"90x60"',
        10.0,
        LARGEST_ROOM_MM,
        unit="mm",
        instead_of="furnace.box",
    ),
    Key(
        "furnace.ballast_below",
        Kind.LENGTH,
        "the depth of ballast that parts lie on, mm",
        "10",
        0.0,
        1000.0,
        0.0,
        unit="mm",
    ),
    Key(
        "furnace.ballast_above",
        Kind.LENGTH,
        "the depth of ballast that covers parts, mm",
        "10",
        0.0,
        1000.0,
        0.0,
        unit="mm",
    ),
    Key(
        "limits.wall_beads",
        Kind.NUMBER,
        "the beads that a wall needs to print",
        "1.0",
        0.01,
        1000.0,
        1.0,
        unit="beads",
    ),
    Key(
        "limits.sound_beads",
        Kind.NUMBER,
        "the beads that a wall needs to be sound",
        "2.0",
        0.01,
        1000.0,
        2.0,
        unit="beads",
    ),
    Key(
        "limits.gap_beads",
        Kind.NUMBER,
        "the beads that a gap needs to stay open",
        "1.0",
        0.01,
        1000.0,
        1.0,
        unit="beads",
    ),
    Key(
        "limits.floor_layers",
        Kind.COUNT,
        "the layers that a closed floor needs",
        "3",
        1,
        1000,
        CLOSED_FLOOR_LAYERS,
        unit="layers",
    ),
    Key(
        "limits.thick_limit",
        Kind.LENGTH,
        "the thickest green section you trust to lose its binder, mm",
        "10",
        0.01,
        1000.0,
        THICK_MM,
        unit="mm",
    ),
    Key(
        "limits.coupon_section",
        Kind.LENGTH,
        "the thickest green section of the coupon, mm, where the row does not know it",
        "6.8",
        0.01,
        1000.0,
        unit="mm",
    ),
    Key(
        "limits.sag_tolerance",
        Kind.LENGTH,
        "what pre-curving may leave of the sag, mm",
        "0.02",
        1e-6,
        100.0,
        SAG_TOLERANCE_MM,
        unit="mm",
    ),
)

KEYS: Final = {key.name: key for key in _KEYS}
"""All keys by their full names, in the order of the file."""


def nearest_key(section: str, short: str) -> Key | None:
    """Key that was probably meant.

    Parameters
    ----------
    section, short : str
        Section and name as written; the name may be empty.

    Returns
    -------
    Key or None
        One of the same name elsewhere, else one of a like name, its own section first.

    Examples
    --------
    >>> nearest_key("printer", "nozle").name, nearest_key("printer", "density").name
    ('printer.nozzle', 'filament.density')
    """
    same = [key for key in _KEYS if key.short == short]
    if same:
        return same[0]
    for keys in ([key for key in _KEYS if key.section == section], list(_KEYS)):
        names = [key.short for key in keys]
        if short and (starts := [key for key in keys if key.short.startswith(short)]):
            return starts[0]
        if close := get_close_matches(short, names, n=1, cutoff=_CLOSE):
            return keys[names.index(close[0])]
    return None


def nearest_section(section: str) -> str:
    """Section that was probably meant, or an empty text.

    Parameters
    ----------
    section : str
        As written.

    Returns
    -------
    str
        Name of a section.
    """
    names = list(dict.fromkeys(key.section for key in _KEYS))
    return next(iter(get_close_matches(section, names, n=1, cutoff=_CLOSE)), "")
