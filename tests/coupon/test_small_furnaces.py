"""Furnaces that take a coupon in loads, or not at all: what the maker is told is tried."""

from __future__ import annotations

import re

import pytest

from shrinkrule.coupon import CouponPlan, design_coupon
from shrinkrule.coupon.fitting import loads_of
from shrinkrule.coupon.layout import floor_places
from shrinkrule.errors import SettingError
from shrinkrule.furnace import BoxFurnace, CrucibleFurnace, Furnace, parse_box, parse_crucible
from shrinkrule.printer import Printer

SMALL: list[tuple[Furnace, float]] = [
    (CrucibleFurnace(50.0, 40.0), 0.25),
    (BoxFurnace(50.0, 30.0, 30.0), 0.6),
    (BoxFurnace(60.0, 50.0, 14.0), 0.4),
]


@pytest.mark.parametrize(("furnace", "nozzle"), SMALL, ids=[str(case[0]) for case in SMALL])
def test_the_furnace_that_is_said_to_do_does_and_a_smaller_one_does_not(
    furnace: Furnace, nozzle: float
) -> None:
    printer = Printer.from_nozzle(nozzle)
    with pytest.raises(SettingError, match="too small for") as refusal:
        design_coupon(CouponPlan(printer, furnace))
    hint = refusal.value.hint
    box = re.search(r"box ([\d.]+ x [\d.]+ x [\d.]+) mm", hint)
    round_one = re.search(r"crucible ([\d.]+) mm across, ([\d.]+) mm high", hint)
    if box:
        would: Furnace = parse_box(box[1].replace(" ", ""))
    else:
        assert round_one is not None, hint
        would = parse_crucible(f"{round_one[1]}x{round_one[2]}")
    assert design_coupon(CouponPlan(printer, would)).pieces
    sizes = [(a, b) for a, b in zip(vars(would).values(), vars(furnace).values(), strict=True)]
    grown = [max(a - 1.0 if a > b else a, b) for a, b in sizes]
    with pytest.raises(SettingError):
        design_coupon(CouponPlan(printer, type(furnace)(*grown)))
    finer = re.search(r"nozzle of ([\d.]+) mm", hint)
    if finer:
        assert design_coupon(CouponPlan(Printer.from_nozzle(float(finer[1])), furnace)).pieces
    else:
        with pytest.raises(SettingError):
            design_coupon(CouponPlan(Printer.from_nozzle(0.2), furnace))


def test_each_load_stands_on_the_floor_and_bars_stay_together() -> None:
    plan = CouponPlan(Printer.from_nozzle(0.25), BoxFurnace(50.0, 40.0, 30.0))
    coupon = design_coupon(plan)
    assert coupon.floor == ()
    loads = loads_of(plan, coupon.pieces)
    assert sorted(p.name for load in loads for p in load) == sorted(p.name for p in coupon.pieces)
    assert not any(p.fired_standing for p in loads[0])
    for load in loads:
        if len(load) > 1:
            assert floor_places([piece.fired_plan for piece in load], plan.furnace)
    assert "more than one load (block" in coupon.notes[0]
    assert "the same coupon number and its own firing number" in coupon.notes[1]
