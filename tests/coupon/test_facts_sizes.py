"""Sizes of the coupon's pieces at their limits, and what is said of spans that cannot be read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from shrinkrule.coupon import CouponPlan, design_coupon
from shrinkrule.coupon.block import build_block, thickest_section_mm
from shrinkrule.coupon.block_sizes import (
    OPENING_MM,
    TREAD_MM,
    BlockSizes,
    shortest_block_mm,
    size_block,
)
from shrinkrule.coupon.spans import READABLE_MM, STOCKIEST, choose_spans, span_notes
from shrinkrule.furnace import BoxFurnace
from shrinkrule.physics.beam import Support, beam_drop_mm
from shrinkrule.printer import Printer


@pytest.mark.parametrize("nozzle", [0.8, 1.0, 1.2])
@pytest.mark.parametrize("height", [20.0, 22.0, 30.0])
def test_no_piece_is_taller_than_the_furnace(nozzle: float, height: float) -> None:
    """Of a wide nozzle, bars three beads deep stand higher than a low furnace."""
    furnace = BoxFurnace(200.0, 200.0, height)
    coupon = design_coupon(CouponPlan(Printer.from_nozzle(nozzle), furnace))
    assert max(piece.fired_size[2] for piece in coupon.pieces) <= furnace.usable_height_mm


@pytest.mark.parametrize(("nozzle", "opening"), [(0.4, OPENING_MM), (0.8, OPENING_MM), (1.2, 7.92)])
def test_the_shortest_block_is_the_first_that_can_be_measured(
    nozzle: float, opening: float
) -> None:
    """Half a millimetre less, and a window is too narrow: for jaws, or for three marks (2.64 mm
    each, two beads of 1.32 mm), or a tread too short."""
    printer = Printer.from_nozzle(nozzle)
    shortest = shortest_block_mm(printer)

    def can_be_measured(longest_mm: float) -> bool:
        sizes = size_block(longest_mm, 25.0, printer)
        tread = (sizes.lengths[0] - sizes.lengths[1]) / 2.0
        return min(sizes.openings) >= opening - 1e-9 and tread >= TREAD_MM

    sides = np.arange(30.0, 60.5, 0.5)
    assert sides[[can_be_measured(side) for side in sides]][0] == shortest


@pytest.mark.parametrize("nozzle", [0.4, 0.6, 1.0])
def test_a_mark_is_two_beads_wide_and_seen_with_the_eye(nozzle: float) -> None:
    """Cut through the marks above the plate: squares of two beads, of 1.5 mm at least."""
    printer = Printer.from_nozzle(nozzle)
    sizes = size_block(45.0, 20.0, printer)
    height = sizes.plate + 1.5 * printer.layer_height_mm
    section = build_block(sizes, printer).mesh.section([0.0, 0.0, 1.0], [0.0, 0.0, height])
    areas = sorted(shapely.Polygon(ring[:, :2]).area for ring in section.discrete)
    side = max(2.0 * printer.bead_width_mm, 1.5)
    assert areas[:3] == pytest.approx([side**2] * 3, rel=1e-6)
    assert areas[3] > 1.5 * side**2, "stairs are larger"


@pytest.mark.parametrize("plate", [0.9, 1.2, 1.8, 2.5, 2.99, 3.5, 5.0])
def test_the_thickest_section_is_the_largest_ball_under_a_stair(plate: float) -> None:
    """Centres up the middle of a stair 6 mm thick: as far as underside, the plate's top edges
    and the stair's sides allow."""
    sizes = BlockSizes(
        (50.0, 34.0, 19.5, 10.0), plate, (9.0, 14.0, 9.0, 14.0), 4.0, 8.0, 0.2, 1.5, 9.75
    )
    half = 3.0
    centre = np.linspace(0.0, 12.0, 120_001)
    aside = np.where(centre < plate, np.hypot(half, plate - centre), half)
    assert thickest_section_mm(sizes) == pytest.approx(
        2.0 * np.minimum(centre, aside).max(), abs=1e-3
    )


SPANS = choose_spans(1.8, 60.0, 500.0, 7.5)


def test_drops_that_take_all_that_can_be_read_leave_no_range_of_moduli() -> None:
    """From the least to the largest drop that feelers read: one modulus serves, and is no range."""
    low, high = READABLE_MM
    assert "All three can be read from" in " ".join(span_notes(SPANS))
    for least in (low, 0.9 * low):
        said = span_notes(replace(SPANS, bridge_drops=(least, 0.5, high)))
        assert "All three can be read" not in " ".join(said)


@pytest.mark.parametrize(("stocky", "serves"), [(0.4, False), (0.6, True), (0.9, True)])
def test_a_span_that_would_serve_is_named_unless_it_is_a_block(stocky: float, serves: bool) -> None:
    """An arm may be half as long as a beam built in at both ends; shorter, nothing is slender."""
    low, high = READABLE_MM
    span = stocky * STOCKIEST * SPANS.depth
    unit = beam_drop_mm(Support.BOTH_BUILT_IN, span, SPANS.depth, 1.0, 7.5)
    modulus = unit / (low * high) ** 0.5  # so soft that this span drops midway, by ratio

    def drop(length: float) -> float:
        return beam_drop_mm(Support.BOTH_BUILT_IN, length, SPANS.depth, modulus, 7.5)

    soft = replace(
        SPANS,
        bridges=(3.0 * span, 3.5 * span, 4.0 * span),
        bridge_drops=(drop(3.0 * span), drop(3.5 * span), drop(4.0 * span)),
        modulus_kpa=modulus,
    )
    (said,) = [line for line in span_notes(soft) if line.startswith("B1 ")]
    assert (f"a span near {span:.0f} mm would serve" in said) is serves
    assert ("no slender beam" in said) is not serves
