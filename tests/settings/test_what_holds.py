"""Which value holds: option, row, nearest file, user's file, built in; and what contradicts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from shrinkrule.calibration import demo_table
from shrinkrule.cli.options import flag_of
from shrinkrule.errors import SettingError
from shrinkrule.settings import (
    Settings,
    Source,
    Stated,
    bed_of,
    furnace_of,
    limits_of,
    printer_of,
    row_states,
)


def stated(source: Source = Source.FILE, name: str = "near.toml", **values: object) -> Stated:
    """Values by full names, in which two underscores stand for the full stop."""
    named = {key.replace("__", "."): value for key, value in values.items()}
    return Stated(source, name, named, dict.fromkeys(named, 7))  # type: ignore[arg-type]


def user(**values: object) -> Stated:
    return stated(Source.USER, "user.toml", **values)


def test_the_order_is_option_row_near_file_user_built_in() -> None:
    key = "limits.coupon_section"
    files = stated(limits__coupon_section=7.0), user(limits__coupon_section=8.0)
    row = stated(Source.ROW, "row 'a'", limits__coupon_section=6.0)
    flags = Stated.by_options(flag_of, coupon_section="5")
    nothing = Stated.by_options()
    for settings, value, source in (
        (Settings(flags, files, row), 5.0, Source.OPTION),
        (Settings(nothing, files, row), 6.0, Source.ROW),
        (Settings(nothing, files), 7.0, Source.FILE),
        (Settings(nothing, files[1:]), 8.0, Source.USER),
        (Settings(nothing), None, Source.BUILT_IN),
    ):
        assert (settings[key].value, settings[key].source) == (value, source)
    assert Settings(nothing, files)[key].place == "near.toml, line 7"
    assert Settings(flags, files)[key].place == "--coupon-section"


def test_each_key_goes_its_own_way() -> None:
    settings = Settings(
        Stated.by_options(flag_of, thick_limit="12"),
        (stated(printer__nozzle=0.4), user(printer__nozzle=0.8, limits__floor_layers=5)),
    )
    limits = limits_of(settings)
    assert (limits.thick_mm, limits.floor_layers, limits.gap_beads) == (12.0, 5, 1.0)
    assert printer_of(settings).nozzle_mm == 0.4


def test_a_bead_holds_for_the_nozzle_it_was_stated_for() -> None:
    """1.1 and 0.5 nozzles are the trade's usual bead and layer."""
    file = stated(printer__nozzle=0.6, printer__bead_width=0.7, printer__layer_height=0.2)
    same = printer_of(Settings(Stated.by_options(flag_of, nozzle="0.6"), (file,)))
    assert (same.bead_width_mm, same.layer_height_mm) == (0.7, 0.2)
    other = Settings(Stated.by_options(flag_of, nozzle="0.4"), (file,))
    made = printer_of(other)
    assert (made.bead_width_mm, made.layer_height_mm) == pytest.approx((0.44, 0.2), rel=1e-12)
    assert other["printer.layer_height"].source is Source.BUILT_IN
    assert any("bead width 0.7 mm of near.toml, line 7" in text for text in other.left_out)


def test_a_row_belongs_to_its_table() -> None:
    file = stated(calibration__table=Path("a.csv"), calibration__row="bronze 3")
    assert Settings(Stated.by_options(), (file,)).text("calibration.row") == "bronze 3"
    assert (
        Settings(Stated.by_options(flag_of, row="steel"), (file,)).text("calibration.row")
        == "steel"
    )
    other = Settings(Stated.by_options(flag_of, table="b.csv"), (file,))
    assert other.text("calibration.row") is None
    both = Settings(Stated.by_options(), (stated(calibration__row="mine"), user(
        calibration__table=Path("a.csv"), calibration__row="bronze 3"
    )))  # fmt: skip
    assert both.text("calibration.row") == "mine"
    assert both.text("calibration.table") == "a.csv"


def test_one_furnace_at_a_time() -> None:
    file = stated(furnace__crucible="90x60", furnace__ballast_below=5.0, furnace__ballast_above=8.0)
    round_one = furnace_of(Settings(Stated.by_options(), (file,)))
    assert round_one is not None
    # 60 mm, less 13 of ballast, less 2 mm of room below and above.
    assert round_one.usable_height_mm == pytest.approx(43.0, abs=1e-12)
    assert "5 mm of ballast below and 8 mm above" in str(round_one)
    box = Settings(Stated.by_options(flag_of, box="80x70x60"), (file,))
    assert box.text("furnace.crucible") is None
    assert str(furnace_of(box)).startswith("box 80 x 70 x 60 mm")
    assert furnace_of(Settings(Stated.by_options())) is None
    with pytest.raises(SettingError, match="give either --box or --crucible"):
        Stated.by_options(flag_of, box="80x60x50", crucible="90x60")
    full = stated(furnace__crucible="90x60", furnace__ballast_below=58.0)
    with pytest.raises(SettingError, match="leave no room"):
        furnace_of(Settings(Stated.by_options(), (full,)))


def test_the_bed() -> None:
    settings = Settings(Stated.by_options(), (stated(printer__bed="220x200x250"),))
    assert bed_of(settings) == (220.0, 200.0, 250.0)
    assert bed_of(Settings(Stated.by_options())) is None


def test_a_contradiction_between_row_and_file_is_reported_and_the_row_holds() -> None:
    row = replace(demo_table()[0], thickest_section_mm=6.8)
    said = row_states(row, "table.csv")
    settings = Settings(Stated.by_options(), (stated(limits__coupon_section=9.0),)).with_row(said)
    assert settings.number("limits.coupon_section") == 6.8
    (text,) = settings.contradictions
    assert "6.8 mm in row" in text
    assert "9 mm in near.toml, line 7: the row holds" in text
    agreed = Settings(Stated.by_options(), (stated(limits__coupon_section=6.8),)).with_row(said)
    assert agreed.contradictions == ()
    by_hand = Settings(Stated.by_options(flag_of, coupon_section="9")).with_row(said)
    assert by_hand.number("limits.coupon_section") == 9.0
    assert by_hand.contradictions[0].endswith("--coupon-section: the option holds")


def test_keys_left_out_of_files_do_not_hold() -> None:
    file = stated(calibration__table=Path("a.csv"), printer__nozzle=0.4)
    settings = Settings(Stated.by_options(), (file,)).without("calibration.table")
    assert settings.text("calibration.table") is None
    assert settings.number("printer.nozzle") == 0.4
