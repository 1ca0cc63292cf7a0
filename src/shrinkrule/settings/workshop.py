"""Printer, filament, wall limits and furnace, made of the settings that hold."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from shrinkrule.furnace import Furnace, parse_box, parse_crucible
from shrinkrule.physics.filament import Spool
from shrinkrule.printer import Printer
from shrinkrule.settings.holding import Settings
from shrinkrule.settings.stated import Source

if TYPE_CHECKING:
    from shrinkrule.walls import WallLimits


def printer_of(settings: Settings) -> Printer:
    """Printer by the settings.

    Parameters
    ----------
    settings : Settings
        What holds.

    Returns
    -------
    Printer
        Nozzle, bead and layer.
    """
    nozzle, bead, layer = (
        settings.number(f"printer.{name}") for name in ("nozzle", "bead_width", "layer_height")
    )
    assert nozzle is not None, "a nozzle is built in"
    return Printer.from_nozzle(nozzle, bead, layer)


def limits_of(settings: Settings) -> WallLimits:
    """Limits of the wall check by the settings.

    Parameters
    ----------
    settings : Settings
        What holds.

    Returns
    -------
    WallLimits
        Beads, layers and the thickest section.

    Raises
    ------
    SettingError
        If a sound wall would be thinner than one that just prints.
    """
    from shrinkrule.walls import WallLimits

    wall, sound, floor, gap, thick = (
        settings.number(f"limits.{name}") or 0.0
        for name in ("wall_beads", "sound_beads", "floor_layers", "gap_beads", "thick_limit")
    )
    pins = wall
    if settings["limits.wall_beads"].source is Source.ROW:
        # Measured on walls: it says nothing for thinner pins, and a sound wall is no thinner.
        pins = max(wall, settings.without_row.number("limits.wall_beads") or 0.0)
        sound = max(sound, wall)
    return WallLimits(wall, sound, floor, gap, thick, pins)


def furnace_of(settings: Settings) -> Furnace | None:
    """Furnace by the settings, with its ballast.

    Parameters
    ----------
    settings : Settings
        What holds.

    Returns
    -------
    BoxFurnace or CrucibleFurnace or None
        None where no size is stated.

    Raises
    ------
    SettingError
        If the ballast leaves no room.
    """
    box, crucible = settings.text("furnace.box"), settings.text("furnace.crucible")
    if box is None and crucible is None:
        return None
    furnace: Furnace = parse_box(box) if box is not None else parse_crucible(crucible or "")
    below, above = (settings.number(f"furnace.ballast_{side}") for side in ("below", "above"))
    return replace(furnace, ballast_below_mm=below or 0.0, ballast_above_mm=above or 0.0)


def spool_of(settings: Settings) -> Spool:
    """Filament by the settings.

    Parameters
    ----------
    settings : Settings
        What holds.

    Returns
    -------
    Spool
        What is stated of it.
    """
    diameter, density, price = (
        settings.number(f"filament.{name}") for name in ("diameter", "density", "price")
    )
    return Spool(diameter, density, price, settings.text("filament.currency") or "")


def bed_of(settings: Settings) -> tuple[float, float, float] | None:
    """Room that the printer can fill, by the settings.

    Parameters
    ----------
    settings : Settings
        What holds.

    Returns
    -------
    tuple of float or None
        Length, width and height, mm.
    """
    text = settings.text("printer.bed")
    if text is None:
        return None
    length, width, height = (float(size) for size in text.split("x"))
    return length, width, height
