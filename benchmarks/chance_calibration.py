"""Whether chances that limits are kept come true, in simulated workshops.

Each workshop of :mod:`promise_coverage` draws its truth, calibrates with two to six firings, and
makes the next part in a firing of its own. Lengths of that part get limits at random, so that their
chances reach from 0 to 100 %; counted is, by decile of the chance that is given, how many keep
them. All numbers are INVENTED.

    python benchmarks/chance_calibration.py --sets 4000 --page docs/results-chances.md
"""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import trimesh
from promise_coverage import DESIGNS, LAYER_MM, WORKSHOPS, Workshop, calibrated, noise

from shrinkrule import part_from_mesh
from shrinkrule.calibration import CalibrationRow, Feature
from shrinkrule.compensation import LayerHeights, Print
from shrinkrule.dimensions import Dimension, Kind, Limits, Making, chance_of, making_of
from shrinkrule.dimensions.promise import readings_of
from shrinkrule.numerics.arrays import Floats

HONEST = (
    "plain", "axis errors", "axis errors, small", "X against Y", "X against Y, small",
    "first layer", "whole layers", "bores", "caliper's zero",
)  # fmt: skip
"""Workshops that do nothing which a coupon cannot show."""

LENGTHS_EACH = 12
"""Lengths with limits of one part."""

SIZES_MM = (3.0, 60.0)
BLOCK = part_from_mesh(trimesh.creation.box((60.0, 60.0, 60.0)))


def length(rng: np.random.Generator) -> tuple[int, Dimension]:
    """A length at random: print axis, and what it is."""
    axis = int(rng.integers(3))
    kinds = [(Kind.WALL, Feature.OUTSIDE), (Kind.INSIDE, Feature.SLOT), (Kind.BORE, Feature.BORE)]
    kind, feature = (
        (Kind.OVERALL, Feature.OUTSIDE) if axis == 2 else kinds[int(rng.integers(len(kinds)))]
    )
    size = float(np.round(rng.uniform(*SIZES_MM), 1))
    way = tuple(np.eye(3)[axis].tolist())
    # The block stands on its own plate, 30 mm under its middle.
    return axis, Dimension(kind, size, way, (0.0, 0.0, 0.0), feature, level_mm=-30.0)


def fired_mm(
    rng: np.random.Generator,
    shop: Workshop,
    row: CalibrationRow,
    making: Making,
    axis: int,
    one: Dimension,
    off: float,
) -> float:
    """What one length of the next part truly measures, mm; its firing shrinks ``off`` more."""
    model = one.size_mm * float(making.factors.per_axis[axis])
    drawn = making.made.sliced_mm(model) if axis == 2 else model
    green = drawn * (1.0 + shop.scale[axis]) + noise(rng, shop, shop.print_sd_mm)
    if axis == 2:
        green += shop.first_layer_mm
    else:
        spread = 0.0 if row.bead_offset_mm is None else row.bead_offset_mm.value
        side = 1.0 if one.feature is Feature.OUTSIDE else -1.0
        green += 2.0 * side * (shop.bead_mm - spread)
        green += shop.bore_mm if one.feature is Feature.BORE else 0.0
    kept = 1.0 - shop.shrinkage[axis] - off
    return green * kept + noise(rng, shop, shop.fired_sd_mm)


def chances(shop: Workshop, sets: int, seed: int) -> Floats:
    """Chance that was given and whether the limits were kept, for lengths of next parts.

    Parameters
    ----------
    shop : Workshop
        What is true there.
    sets : int
        Calibrations, each with a part of the next firing.
    seed : int
        Of the random numbers.

    Returns
    -------
    (n, 2) float64
        Chance, and 1 where the length kept its limits.
    """
    found = []
    layers = LayerHeights(LAYER_MM, LAYER_MM)
    for number in range(sets):
        rng = np.random.default_rng([seed, number])
        row = calibrated(rng, shop, DESIGNS[number % len(DESIGNS)])
        making = making_of(BLOCK, row, made=Print(layers) if shop.layered else Print())
        off = rng.normal(0.0, shop.firing_sd) + rng.normal(0.0, shop.part_sd)
        for _ in range(LENGTHS_EACH):
            axis, one = length(rng)
            (reading,) = readings_of(one, making)
            half = reading.fired_mm.half95
            assert half is not None
            # Limits are the maker's: they do not know where the length will come out.
            lower = reading.fired_mm.value + half * rng.uniform(-1.6, 0.6)
            upper = lower + half * rng.choice([rng.uniform(0.05, 2.6), np.inf])
            if rng.random() < 0.5:
                middle = 2.0 * reading.fired_mm.value
                lower, upper = middle - upper, middle - lower
            chance = chance_of(one, Limits(lower, upper), making)
            assert chance is not None
            true = fired_mm(rng, shop, row, making, axis, one, off)
            found.append((chance, float(lower <= true <= upper)))
    return np.array(found)


def deciles(told: Floats) -> Iterator[tuple[int, int, float, float]]:
    """Number, lengths, mean chance, share kept, of each tenth of the chance (n, 2) that has any."""
    cell = np.minimum((10.0 * told[:, 0]).astype(np.int64), 9)
    for k in np.unique(cell).tolist():
        some = told[cell == k]
        yield k, len(some), float(some[:, 0].mean()), float(some[:, 1].mean())


def page(results: dict[str, Floats]) -> Iterator[str]:
    """Lines of the results page."""
    yield "# Chances that limits are kept, in simulated workshops"
    yield ""
    yield from textwrap.wrap(
        "Made by `benchmarks/chance_calibration.py`; all numbers are invented. Each workshop "
        "calibrates with two to six firings and makes the next part in another; its lengths have "
        "limits at random. By tenths of the chance that was given: lengths, mean chance, how many "
        "kept their limits.",
        100,
    )
    yield ""
    yield "| chance given, % | lengths | mean chance, % | kept, % | off, points |"
    yield "| --- | --- | --- | --- | --- |"
    every = np.concatenate(list(results.values()))
    for k, count, chance, kept in deciles(every):
        yield (
            f"| {10 * k} to {10 * k + 10} | {count} | {100 * chance:.1f} | {100 * kept:.1f} "
            f"| {100 * (kept - chance):+.1f} |"
        )
    yield ""
    yield "The worst tenth of each workshop:"
    yield ""
    yield "| workshop | lengths | worst tenth, % | mean chance, % | kept, % | off, points |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for name, told in results.items():
        worst, count, chance, kept = max(deciles(told), key=lambda row: abs(row[3] - row[2]))
        yield (
            f"| {name} | {len(told)} | {10 * worst} to {10 * worst + 10} ({count}) "
            f"| {100 * chance:.1f} | {100 * kept:.1f} | {100 * (kept - chance):+.1f} |"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n", maxsplit=1)[0])
    parser.add_argument("--sets", type=int, default=4000, help="calibrations in all")
    parser.add_argument("--page", type=Path, help="write the results here, instead of printing")
    asked = parser.parse_args()
    each = -(-asked.sets // len(HONEST))
    results = {}
    for number, name in enumerate(HONEST):
        results[name] = chances(WORKSHOPS[name], each, 29 + number)
        print(name, len(results[name]), flush=True)
    text = "\n".join(page(results)) + "\n"
    if asked.page:
        asked.page.write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main()
