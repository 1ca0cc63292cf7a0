"""Which spans will drop by an amount a workshop can read, for a sag modulus it expects.

Beams under their own weight, both ends built in: ``w L^4 / (384 E I)``, and held at
one end: ``w L^4 / (8 E I)``; for a rectangle of depth h the width cancels.
Source: Euler-Bernoulli beams, any handbook (Roark's Formulas for Stress and Strain).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from math import floor
from typing import Final

from shrinkrule.physics.beam import Support, beam_drop_mm

READABLE_MM: Final = (0.1, 2.0)
"""Drops that feelers under a straightedge read: thinner slips through, thicker is no beam."""
USUAL_SAG_MODULUS_KPA: Final = 500.0
"""Expected where nothing is known: 3 eta / t for 1e9 Pa s over two hours, an order of magnitude.

Only the first coupon shows it.
"""
USUAL_DENSITY_G_CM3: Final = 7.5
"""Density of a bronze- or steel-like part on its way to full sintering."""
USUAL_KEPT: Final = 0.85
"""Fired over green length that is expected; common practice, no source. Drops are read fired."""
DROP_PER_DEPTH: Final = 1.0 / 3.0
"""Largest drop aimed at, in depths of the beam: beyond, held ends carry it as a rope does."""
SMALLEST_DROP_MM: Final = 0.14
"""Least drop aimed at: spans are rounded down to 0.5 mm, and 0.1 is still reached."""
DROP_RANGE: Final = 4.0
"""Largest over smallest drop aimed at on the three spans, where the smallest allows it."""
CANTILEVER_DROP_MM: Final = 0.7
"""Drop aimed at on the cantilever: near mid-way, by ratio, between what can be read."""
STOCKIEST: Final = 7.0
"""Least span in depths for a built-in beam; below, it is a block."""
DEPTH_BEADS: Final = (3.0, 2.0)
"""Depths tried, in beads; three prints soundest, two drops more than twice as far."""
THICK_RATIO: Final = 1.5
"""Depth of the fourth bridge over that of the others: drops should fall with its square."""

BRIDGE_IDS: Final = ("B1", "B2", "B3")
THICK_ID: Final = "B4"
CANTILEVER_ID: Final = "C1"


@dataclass(frozen=True)
class SagSpans:
    """Spans and depths of the sag bars, mm, and the drops expected on them.

    Parameters
    ----------
    bridges : tuple of 3 float
        Spans of the thin bridges, shortest first; the thick one has the longest.
    cantilever : float
        Span of the cantilever.
    depth, thick : float
        Depth of the thin beams and of the thick one, in the direction of gravity.
    bridge_drops : tuple of 3 float
        Drops expected on the thin bridges, as they are read: on the fired bars.
    thick_drop, cantilever_drop : float
        Drops expected on the thick bridge and at the cantilever's tip.
    modulus_kpa : float
        Sag modulus these drops were reckoned with.
    as_wanted : bool
        Whether neither furnace nor slenderness forced other spans than those aimed at.
    """

    bridges: tuple[float, float, float]
    cantilever: float
    depth: float
    thick: float
    bridge_drops: tuple[float, float, float]
    thick_drop: float
    cantilever_drop: float
    modulus_kpa: float
    as_wanted: bool

    def readable_modulus_kpa(self, drops: tuple[float, ...]) -> tuple[float, float]:
        """Sag moduli between which all these drops can be read."""
        low, high = READABLE_MM
        return self.modulus_kpa * max(drops) / high, self.modulus_kpa * min(drops) / low


def choose_spans(
    depth: float, longest_span: float, modulus_kpa: float, density_g_cm3: float
) -> SagSpans:
    """Spans whose drops can be read, as far as the furnace takes them.

    Parameters
    ----------
    depth : float
        Depth of the thin beams, mm.
    longest_span : float
        Longest bridge the furnace takes, mm.
    modulus_kpa, density_g_cm3 : float
        Sag modulus and density expected.

    Returns
    -------
    SagSpans
        Rounded down to half a millimetre, with the drops expected.
    """

    def fired_drop(support: Support, span: float, deep: float) -> float:
        return beam_drop_mm(
            support, USUAL_KEPT * span, USUAL_KEPT * deep, modulus_kpa, density_g_cm3
        )

    drop = partial(fired_drop, Support.BOTH_BUILT_IN)
    tip_drop = partial(fired_drop, Support.ONE_BUILT_IN, deep=depth)

    unit_drop = drop(1.0, depth)
    largest = DROP_PER_DEPTH * USUAL_KEPT * depth
    smallest = max(largest / DROP_RANGE, min(SMALLEST_DROP_MM, largest / 2.0))
    aims = (smallest, (smallest * largest) ** 0.5, largest)
    wanted = [(aim / unit_drop) ** 0.25 for aim in aims]
    stocky = STOCKIEST * depth
    fitted = max(stocky / wanted[0], min(1.0, longest_span / wanted[-1]))
    first, second, third = (_half(span * fitted) for span in wanted)
    arm = (CANTILEVER_DROP_MM / tip_drop(1.0)) ** 0.25
    arm = _half(max(min(arm, longest_span - first), 0.5 * stocky))
    thick = round(THICK_RATIO * depth, 2)
    return SagSpans(
        bridges=(first, second, third),
        cantilever=arm,
        depth=depth,
        thick=thick,
        bridge_drops=(drop(first, depth), drop(second, depth), drop(third, depth)),
        thick_drop=drop(third, thick),
        cantilever_drop=tip_drop(arm),
        modulus_kpa=modulus_kpa,
        as_wanted=fitted == 1.0,
    )


def one_span_note(spans: SagSpans) -> str:
    """State the drop expected on the middle bridge, where it is the only one.

    Parameters
    ----------
    spans : SagSpans
        As chosen.

    Returns
    -------
    str
        A sentence for the sheet.
    """
    drop = spans.bridge_drops[1]
    soft, stiff = spans.readable_modulus_kpa((drop,))
    return (
        f"At a sag modulus of {spans.modulus_kpa:g} kPa the bridge should drop {drop:.2f} mm; the "
        f"drop can be read from {_two(soft)} to {_two(stiff)} kPa."
    )


def span_notes(spans: SagSpans) -> tuple[str, ...]:
    """State the drops expected on these spans, and which spans would serve where they do not.

    Parameters
    ----------
    spans : SagSpans
        As chosen.

    Returns
    -------
    tuple of str
        Sentences for the sheet.
    """
    low, high = READABLE_MM
    notes = [
        f"At a sag modulus of {spans.modulus_kpa:g} kPa the bridges should drop "
        f"{_list(spans.bridge_drops)} mm and the cantilever {spans.cantilever_drop:.2f} mm."
    ]
    soft, stiff = spans.readable_modulus_kpa(spans.bridge_drops)
    if soft < stiff:
        notes.append(f"All three can be read from {_two(soft)} to {_two(stiff)} kPa.")
    for name, span, drop, depth in (
        *(
            (*row, spans.depth)
            for row in zip(BRIDGE_IDS, spans.bridges, spans.bridge_drops, strict=True)
        ),
        (THICK_ID, spans.bridges[2], spans.thick_drop, spans.thick),
        (CANTILEVER_ID, spans.cantilever, spans.cantilever_drop, spans.depth),
    ):
        if low <= drop <= high:
            continue
        # Half-way, by ratio, inside what can be read; the drop grows with the fourth power.
        better = span * ((low * high) ** 0.5 / drop) ** 0.25
        cure = f"a span near {better:.0f} mm would serve"
        if better < 0.5 * STOCKIEST * depth:
            cure = "no slender beam of so soft a part would hold"
        notes.append(
            f"{name} would drop {drop:.2g} mm over {span:g} mm, outside the {low:g} to {high:g} mm "
            f"that can be read; {cure}."
        )
    return tuple(notes)


def _list(drops: tuple[float, ...]) -> str:
    return ", ".join(f"{drop:.2f}" for drop in drops)


def _two(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"


def _half(length: float) -> float:
    """Round down to half a millimetre, so that what fits still fits."""
    return floor(2.0 * length + 1e-9) / 2.0
