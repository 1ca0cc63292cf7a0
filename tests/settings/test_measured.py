"""What a row states of the settings: the printer of its coupons, and what their ladders showed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from shrinkrule.calibration import CalibrationRow, Ladder, demo_table
from shrinkrule.cli.options import flag_of
from shrinkrule.settings import (
    Settings,
    Source,
    Stated,
    limits_of,
    printer_of,
    row_states,
)

NOTHING = Stated.by_options()


def row(
    walls: Ladder | None = None, floors: Ladder | None = None, nozzle: float = 0.6
) -> CalibrationRow:
    return replace(
        demo_table()[0],
        name="a",
        nozzle_mm=nozzle,
        bead_width_mm=0.7,
        layer_height_mm=0.25,
        walls=walls,
        floors=floors,
    )


def with_row(
    measured: CalibrationRow, flags: Stated = NOTHING, **file: float | int | Path
) -> Settings:
    named = {key.replace("__", "."): value for key, value in file.items()}
    files = (Stated(Source.FILE, "near.toml", named),) if named else ()
    return Settings(flags, files).with_row(row_states(measured, "table.csv"))


def test_the_coupon_was_printed_with_what_the_row_says() -> None:
    printer = printer_of(with_row(row(nozzle=0.5), printer__nozzle=0.8, printer__bead_width=0.9))
    assert (printer.nozzle_mm, printer.bead_width_mm, printer.layer_height_mm) == (0.5, 0.7, 0.25)
    own = with_row(replace(row(), first_layer_height_mm=0.35))
    assert own.number("printer.first_layer") == 0.35
    assert with_row(row()).number("printer.first_layer") is None


def test_a_flag_overrides_and_the_contradiction_is_said() -> None:
    settings = with_row(row(Ladder(1.05, 0.7, 2)), Stated.by_options(flag_of, nozzle="0.8"))
    printer = printer_of(settings)
    assert printer.nozzle_mm == 0.8
    assert printer.bead_width_mm == pytest.approx(0.88)
    assert limits_of(settings).beads_to_exist == 1.0, "measured with another nozzle"
    assert settings.remarks == (
        "nozzle is 0.6 mm in row 'a' of table.csv and 0.8 mm in --nozzle: the option holds",
        "bead width 0.7 mm, layer height 0.25 mm, wall beads 1.5 beads of row 'a' of table.csv "
        "are left out: they belong to another nozzle; its offsets of outline, bores and first "
        "layer are used all the same",
    )
    bead = with_row(row(Ladder(1.05, 0.7, 2)), Stated.by_options(flag_of, bead_width="0.6"))
    assert limits_of(bead).beads_to_exist == 1.0
    assert "wall beads 1.5 beads of row 'a' of table.csv is left out" in bead.remarks[1]


@pytest.mark.parametrize(
    ("ladder", "beads"),
    [
        (Ladder(1.05, 0.7, 1), 1.5),  # a wall of one bead did not print: at once
        (Ladder(None, 1.4, 0), 2.25),  # none came out: a quarter bead above the thickest
        (Ladder(0.525, None, 1), 1.0),  # one coupon lowers nothing
        (Ladder(0.525, None, 2), 0.75),  # two that agree do
        (Ladder(0.7, 0.525, 1), 1.0),
        (Ladder(1.05, None, 2), 1.0),  # nothing thinner was tried
        (None, 1.0),
    ],
)
def test_what_a_wall_needs(ladder: Ladder | None, beads: float) -> None:
    limits = limits_of(with_row(row(walls=ladder)))
    assert limits.beads_to_exist == pytest.approx(beads, abs=5e-4)
    assert limits.beads_to_be_sound == max(2.0, limits.beads_to_exist)


@pytest.mark.parametrize(
    ("ladder", "layers"),
    [
        (Ladder(1.0, 0.75, 1), 4),
        (Ladder(None, 1.25, 0), 6),
        (Ladder(0.5, None, 1), 3),
        (Ladder(0.5, None, 2), 2),
    ],
)
def test_what_a_floor_needs(ladder: Ladder, layers: int) -> None:
    assert limits_of(with_row(row(floors=ladder))).floor_layers == layers


def test_pins_are_never_lowered_but_raised_with_the_walls() -> None:
    lowered = limits_of(with_row(row(walls=Ladder(0.525, None, 2))))
    printer = printer_of(with_row(row()))
    assert lowered.exist_mm(printer) == pytest.approx(0.525)
    assert lowered.pin_mm(printer) == pytest.approx(0.7)
    raised = limits_of(with_row(row(walls=Ladder(1.05, 0.7, 1))))
    assert raised.pin_mm(printer) == pytest.approx(1.05)


def test_one_coupon_does_not_lower_what_a_file_asks_for() -> None:
    once, twice = Ladder(1.05, 0.7, 1), Ladder(1.05, 0.7, 2)
    for ladder, beads, source in ((once, 1.8, Source.FILE), (twice, 1.5, Source.ROW)):
        settings = with_row(row(walls=ladder), limits__wall_beads=1.8)
        assert settings["limits.wall_beads"].source is source
        assert limits_of(settings).beads_to_exist == beads
    assert limits_of(with_row(row(walls=once), limits__wall_beads=1.2)).beads_to_exist == 1.5


def test_the_source_of_a_limit_is_named() -> None:
    setting = with_row(row(walls=Ladder(1.05, 0.7, 1)))["limits.wall_beads"]
    assert (setting.source, setting.place) == (Source.ROW, "row 'a' of table.csv")
