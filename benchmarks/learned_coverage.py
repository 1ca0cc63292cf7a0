"""Whether a row still keeps its promise after it has learned, and how much narrower it has become.

Each workshop fits a row from coupons of three firings, makes twenty parts in ten firings by it,
two in each, reviews them, and fits the row again with all of them. Then a part of the next firing
is made by each of the two rows. All numbers are INVENTED. Run
``python benchmarks/learned_coverage.py [workshops]``.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace

import numpy as np
from promise_coverage import Workshop, coupon, next_part
from review_causes import Fault, effect, made

from shrinkrule.calibration import CalibrationRow, Feature, fit_sheets, row_from_fit
from shrinkrule.calibration.fit.lengths import why_no_witness
from shrinkrule.calibration.sheets.load import as_coupon
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.physics.estimate import t_quantile

COUPONS = 3
FIRINGS = 10
PARTS_EACH = 2


def rows(rng: np.random.Generator, shop: Workshop) -> tuple[CalibrationRow, CalibrationRow]:
    """Row of the coupons alone, and of coupons and parts."""
    sheets: list[Sheet] = []
    for firing in range(COUPONS):
        hotter = effect(rng, shop.firing_sd, True)
        kept = 1.0 - np.array(shop.shrinkage) - hotter - effect(rng, shop.part_sd, True)
        sheets.append(coupon(rng, shop, kept, (firing, firing + 1)))
    first = row_from_fit(fit_sheets(sheets), "invented")
    by = replace(first, metal_fraction=None)
    for firing in range(COUPONS, COUPONS + FIRINGS):
        hotter = effect(rng, shop.firing_sd, True)
        hot = replace(shop, shrinkage=tuple(np.array(shop.shrinkage) + hotter), firing_sd=0.0)
        for number in range(PARTS_EACH):
            part = made(rng, hot, by, Fault(sag_times=0.0), True, True, sag_share=0.0)
            sheet = as_coupon(part)
            named = replace(sheet.settings, firing=str(firing), coupon=f"{firing}.{number}")
            sheet = replace(sheet, settings=named)
            if not why_no_witness(sheet):
                sheets.append(sheet)
    return first, row_from_fit(fit_sheets(sheets), "invented")


def main() -> None:
    workshops = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    shop = Workshop(scale=(0.003, -0.002, 0.0), first_layer_mm=-0.03)
    held: list[list[bool]] = [[], []]
    half: list[list[float]] = [[], []]
    for number in range(workshops):
        rng = np.random.default_rng([17, number])
        for which, row in enumerate(rows(rng, shop)):
            for axis, feature, wanted, kept, width in next_part(rng, shop, row, 1.0):
                held[which].append(kept)
                if (axis, feature, wanted) == ("x", Feature.OUTSIDE, 60.0):
                    half[which].append(width)
    print("| row | lengths | held, % | half width at 60 mm along X, mm (median) |")
    print("| --- | --- | --- | --- |")
    for name, all_kept, widths in zip(("coupons", "coupons and parts"), held, half, strict=True):
        share = 100.0 * np.mean(all_kept)
        print(f"| {name} | {len(all_kept)} | {share:.1f} | {np.median(widths):.3f} |")
    ideal = [
        float(t_quantile(n - 1)) * math.sqrt(1.0 + 1.0 / n) for n in (COUPONS, COUPONS + FIRINGS)
    ]
    print(f"\nStudent's factor and mean alone would narrow it to {ideal[1] / ideal[0]:.2f} of it")


if __name__ == "__main__":
    main()
