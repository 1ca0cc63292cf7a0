"""How often a review names the right cause, and how often it accuses a sound part.

Workshops draw their truth, fit a row from coupons of four to six firings, make parts by it, and
read them with a caliper; some parts are made wrongly, by a size that a maker would act on. In half
of the workshops a hotter firing moves all axes together, in the other half each on its own. All
numbers are INVENTED. Run ``python benchmarks/review_causes.py [parts of each kind] [sound parts]``.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from promise_coverage import Workshop, coupon, settings

from shrinkrule.calibration import AXES, CalibrationRow, Estimate, fit_sheets, row_from_fit
from shrinkrule.calibration.sheets.load import LoadedPart
from shrinkrule.calibration.sheets.sheet import PartLine, Reading, Sheet
from shrinkrule.compensation import expected_masses
from shrinkrule.numerics.arrays import Floats
from shrinkrule.review.causes import Cause
from shrinkrule.review.firing import FiringReview, review_firings
from shrinkrule.review.judge import PartReview, review_part
from shrinkrule.sheet import Kind

DESIGNS: Final = ((1, 1, 1, 1), (2, 1, 1, 2), (1, 1, 1, 1, 1), (2, 1, 1, 1, 2, 1))
SIDE: Final = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.BORE: -1.0, Kind.STEP: 0.0}
SHARE: Final = 0.90
"""Metal in the filament by mass."""


@dataclass(frozen=True)
class Fault:
    """What is done wrongly to a part; nothing by default."""

    less_fired: float = 0.0
    """Share by which the shrinkage of all axes falls short."""
    z_less: float = 0.0
    """The same of Z alone."""
    outline_mm: float = 0.0
    bore_mm: float = 0.0
    sag_times: float = 1.0
    slip_mm: float = 0.0
    binder_left: float = 0.0
    other: tuple[float, float, float] | None = None
    """Shrinkages of another material."""


OTHER: Final = (0.170, 0.170, 0.182)


def faults(rng: np.random.Generator) -> dict[str, tuple[Fault, set[Cause]]]:
    """One fault of each kind with the causes that are right; sizes that matter."""
    sign = rng.choice([-1.0, 1.0])
    size = sign * rng.uniform(0.06, 0.12)
    fired = Cause.FIRED_LESS if size > 0.0 else Cause.FIRED_MORE
    return {
        "fired less or more": (Fault(less_fired=size), {fired}),
        "Z alone": (Fault(z_less=sign * rng.uniform(0.10, 0.18)), {Cause.FIRED_Z}),
        "outline offset": (Fault(outline_mm=sign * rng.uniform(0.16, 0.3)), {Cause.BEAD}),
        "bores": (Fault(bore_mm=sign * rng.uniform(0.2, 0.4)), {Cause.BORES}),
        "sag": (Fault(sag_times=rng.uniform(2.5, 4.0)), {Cause.SAG}),
        "one slip": (Fault(slip_mm=sign * rng.uniform(0.6, 2.0)), {Cause.SLIP}),
        "binder left": (Fault(binder_left=rng.uniform(0.2, 0.6)), {Cause.BINDER_LEFT}),
        "wrong row": (Fault(other=OTHER), {Cause.WRONG_ROW}),
    }


def row_of(
    rng: np.random.Generator, shop: Workshop, design: tuple[int, ...], together: bool
) -> CalibrationRow:
    """Row of a workshop's coupons, with weights as coupons would give them."""
    sheets: list[Sheet] = []
    for firing, coupons in enumerate(design):
        hotter = effect(rng, shop.firing_sd, together)
        for _ in range(coupons):
            kept = 1.0 - np.array(shop.shrinkage) - hotter - effect(rng, shop.part_sd, together)
            sheets.append(coupon(rng, shop, kept, (firing, len(sheets) + 1)))
    row = row_from_fit(fit_sheets(sheets), "invented")
    return replace(
        row,
        metal_fraction=Estimate(0.552, 0.003),
        metal_density_g_cm3=8.8,
        metal_mass_share=SHARE,
        sag_modulus_kpa=Estimate(900.0, 90.0),
    )


def effect(rng: np.random.Generator, sd: float, together: bool) -> Floats:
    """An effect on the shrinkage of X, Y and Z."""
    return np.full(3, rng.normal(0.0, sd)) if together else rng.normal(0.0, sd, 3)


def lines_of(rng: np.random.Generator) -> list[tuple[str, Kind, int, float, float]]:
    """Mark, kind, axis, model length and estimated sag of a part's dimensions."""
    sag = rng.uniform(0.06, 0.2)
    x, y, z = rng.uniform(25, 60), rng.uniform(15, 40), rng.uniform(10, 30)
    bores = rng.uniform(4, 12, 2)
    lines = [
        ("1", Kind.OUTSIDE, 0, x, 0.4 * sag),
        ("2", Kind.OUTSIDE, 1, y, 0.0),
        ("3", Kind.OUTSIDE, 2, z, -sag),
        ("4X", Kind.BORE, 0, bores[0], 0.0),
        ("4Y", Kind.BORE, 1, bores[0], 0.0),
        ("5X", Kind.BORE, 0, bores[1], 0.0),
        ("5Y", Kind.BORE, 1, bores[1], 0.0),
        ("6", Kind.OUTSIDE, 0, rng.uniform(2, 8), 0.0),
        ("7", Kind.INSIDE, 1, rng.uniform(3, 12), 0.0),
        ("8", Kind.STEP, 0, 0.6 * x, 0.2 * sag),
        ("9", Kind.STEP, 1, 0.5 * y, 0.0),
        ("10", Kind.STEP, 2, 0.5 * z, -0.6 * sag),
        ("11", Kind.OUTSIDE, 2, 0.4 * z, 0.0),
    ]
    return [(f"A{mark}", kind, axis, float(size), float(s)) for mark, kind, axis, size, s in lines]


def made(
    rng: np.random.Generator,
    shop: Workshop,
    row: CalibrationRow,
    fault: Fault,
    together: bool,
    with_green: bool,
    sag_share: float = 1.0,
    hotter: Floats | None = None,
) -> LoadedPart:
    """A part made by the row and read, with a fault; ``sag_share`` of it sags.

    ``hotter`` is what its firing does to the shrinkages; without it that is drawn.
    """
    off = effect(rng, shop.firing_sd, together) if hotter is None else hotter
    off = off + effect(rng, shop.part_sd, together)
    shrinkage = np.array(fault.other or shop.shrinkage)
    kept = 1.0 - (shrinkage + off) * (1.0 - fault.less_fired)
    kept[2] += shrinkage[2] * fault.z_less
    spread = 0.0 if row.bead_offset_mm is None else row.bead_offset_mm.value
    lines = lines_of(rng)
    slipped = int(rng.integers(len(lines)))
    slips_green = with_green and bool(rng.random() < 0.5)
    readings = []
    for number, (mark, kind, axis, wanted, whole_sag) in enumerate(lines):
        sag = sag_share * whole_sag
        model = wanted * row.along(AXES[axis]).factor
        if axis == 2:
            model = max(round(model / 0.3), 1) * 0.3
        green = model * (1.0 + shop.scale[axis]) + rng.normal(0.0, shop.print_sd_mm)
        if axis < 2:
            green += SIDE[kind] * (2.0 * (shop.bead_mm - spread) + fault.outline_mm)
            green += shop.bore_mm + fault.bore_mm if kind is Kind.BORE else 0.0
        elif kind is Kind.OUTSIDE:
            green += shop.first_layer_mm
        fired = green * kept[axis] + rng.normal(0.0, shop.fired_sd_mm)
        fired += sag * fault.sag_times * float(np.exp(rng.normal(0.0, 0.12)))
        nominal = model - (2.0 * spread * SIDE[kind] if axis < 2 else 0.0)
        sizes = [green, fired]
        if number == slipped:
            sizes[0 if slips_green else 1] += fault.slip_mm
        read = [
            tuple(round(size + rng.normal(0.0, shop.caliper_sd_mm), 2) for _ in range(2))
            for size in sizes
        ]
        readings.append(
            Reading(
                number, mark, "", kind, AXES[axis], nominal, None,
                read[0] if with_green else (), None, read[1], sag_mm=sag,
            )
        )  # fmt: skip
    volume = 5000.0
    green_g = expected_masses(volume, row)[0]
    weight = (1.0 if green_g is None else green_g.value) * (1.0 + rng.normal(0.0, 0.006))
    after = weight * (SHARE + rng.normal(0.0, 0.001) + fault.binder_left * (1.0 - SHARE))
    weights = tuple(round(value, 2) for value in (weight, after))
    readings.append(Reading(99, "AM", "", Kind.MASS, "", None, None, weights[:1], weights[1], ()))
    line = PartLine("A", "part", volume, "")
    head = replace(settings(9, 1), metal_mass_share=SHARE)
    return LoadedPart(line, Sheet("part.csv", head, tuple(readings), (), parts=(line,)))


def reviews(
    parts: int, kind: str | None, seed: int, times: float = 1.0
) -> list[tuple[PartReview, set[Cause]]]:
    """Review so many parts with a kind of fault, or sound ones; a row for each ten of them."""
    found = []
    for number in range(parts):
        rng = np.random.default_rng([seed, number // 10])
        together = number // 10 % 2 == 0
        shop = Workshop(
            scale=(rng.normal(0.0, 0.002), rng.normal(0.0, 0.002), 0.0), first_layer_mm=-0.03
        )
        if number % 10 == 0:
            row = row_of(rng, shop, DESIGNS[number // 10 % len(DESIGNS)], together)
        rng = np.random.default_rng([seed, number, 7])
        fault, right = (Fault(), set()) if kind is None else faults(rng)[kind]
        part = made(rng, shop, row, fault, together, number % 3 > 0)
        found.append((review_part(part, row), right))
    return found


FIRINGS: Final = ("sound", "all fired less or more", "one of three fired less or more")
PARTS: Final = 3


def firings(
    count: int, kind: str, seed: int
) -> list[tuple[FiringReview, list[PartReview], set[Cause]]]:
    """Review so many firings of three parts; the causes that are right for each whole firing."""
    found = []
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        together = number % 2 == 0
        shop = Workshop(
            scale=(rng.normal(0.0, 0.002), rng.normal(0.0, 0.002), 0.0), first_layer_mm=-0.03
        )
        row = row_of(rng, shop, DESIGNS[number % len(DESIGNS)], together)
        hotter = effect(rng, shop.firing_sd, together)
        fault, right = faults(rng)["fired less or more"]
        parts = []
        for which in range(PARTS):
            wrong = kind == FIRINGS[1] or (kind == FIRINGS[2] and which == 0)
            part = made(
                rng, shop, row, fault if wrong else Fault(), together, number % 3 > 0, hotter=hotter
            )
            parts.append(review_part(lettered(part, "ABC"[which]), row))
        (firing,) = review_firings(parts, row)
        alone = {Cause.ONE_PART} if kind == FIRINGS[2] else set()
        found.append((firing, parts, right if kind == FIRINGS[1] else alone))
    return found


def lettered(part: LoadedPart, letter: str) -> LoadedPart:
    """The same part with another letter, and the name of its firing."""
    line = replace(part.line, letter=letter)
    sheet = replace(part.sheet, settings=replace(part.sheet.settings, firing="7"))
    return LoadedPart(line, sheet)


def main() -> None:
    parts = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    sound = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    print("| fault | parts | named, first, % | among the named, % | else |")
    print("| --- | --- | --- | --- | --- |")
    for number, kind in enumerate(faults(np.random.default_rng(0))):
        done = reviews(parts, kind, 100 + number)
        first = sum(bool(r.causes) and r.causes[0].cause in right for r, right in done)
        among = sum(any(c.cause in right for c in r.causes) for r, right in done)
        rest = Counter(
            r.said for r, right in done if not any(c.cause in right for c in r.causes)
        ).most_common(3)
        said = "; ".join(f"{text[:60]} {n}" for text, n in rest)
        print(
            f"| {kind} | {parts} | {100 * first / parts:.1f} | {100 * among / parts:.1f} "
            f"| {said} |",
            flush=True,
        )
    done = reviews(sound, None, 99)
    accused = [r for r, _ in done if r.causes or r.undecided]
    print(f"\nsound parts accused: {len(accused)} of {sound}")
    for text, n in Counter(r.said for r in accused).most_common():
        print(f"- {text}: {n}")
    for number, kind in enumerate(FIRINGS):
        of_kind = firings(parts, kind, 200 + number)
        first = sum(bool(f.causes) and f.causes[0].cause in right for f, _, right in of_kind)
        named = sum(bool(f.causes or f.undecided) for f, _, _ in of_kind)
        every = sum(
            all(p.causes and p.causes[0].cause in right for p in ps) for _, ps, right in of_kind
        )
        print(
            f"\n{parts} firings of three parts, {kind}: named rightly first {first}, anything "
            f"named {named}, each part by itself named rightly {every}",
            flush=True,
        )


if __name__ == "__main__":
    main()
