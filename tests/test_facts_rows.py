"""Places alike are one row; places that differ in size, area or kind are rows of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shrinkrule.job.result import Place, alike_places
from shrinkrule.walls import Axis, Finding, FindingKind, Rule

FIN = Finding(
    kind=FindingKind.SINGLE_BEAD,
    rule=Rule.BALL,
    axis=Axis.UPRIGHT,
    smallest_mm=1.0,
    limit_mm=1.32,
    position=(0.0, 0.0, 0.0),
    direction=(1.0, 0.0, 0.0),
    box=((0.0, 0.0, 0.0), (1.0, 10.0, 6.0)),
    area_mm2=120.0,
)


def rows(*findings: Finding) -> list[int]:
    """How many places each row holds, in the order they are shown."""
    at = np.zeros(3)
    places = tuple(Place(f, at, np.zeros((2, 3)), f.smallest_mm, 0.7) for f in findings)
    return [row.count for row in alike_places(places)]


def worst_first(*findings: Finding) -> list[float]:
    """Areas of the places, each a row, in the order they are shown."""
    places = tuple(Place(f, np.zeros(3), np.zeros((2, 3)), 1.0, 0.7) for f in findings)
    return [row.worst.finding.area_mm2 for row in alike_places(places)]


def test_three_fins_of_one_size_are_one_row() -> None:
    assert rows(FIN, FIN, FIN) == [3]


def test_a_fin_half_as_thick_or_twice_as_large_is_another_row() -> None:
    """The thinner comes first: it is the worse."""
    half = replace(FIN, smallest_mm=0.5)
    assert rows(FIN, half, FIN) == [1, 2]
    assert sorted(rows(FIN, FIN, replace(FIN, area_mm2=240.0))) == [1, 2]


def test_a_fifth_of_a_millimetre_is_another_thickness_and_no_other_area() -> None:
    """Half of 0.3 mm is what two thicknesses may differ by, 0.3 what two small areas may."""
    assert sorted(rows(FIN, FIN, replace(FIN, smallest_mm=0.8))) == [1, 2]
    assert rows(FIN, replace(FIN, smallest_mm=0.9)) == [2]
    speck = replace(FIN, area_mm2=0.4)
    assert rows(speck, replace(speck, area_mm2=0.6)) == [2]


def test_a_place_of_another_kind_is_another_row() -> None:
    assert sorted(rows(FIN, FIN, replace(FIN, kind=FindingKind.NARROW_GAP))) == [1, 2]


def test_of_places_equally_thin_the_larger_comes_first() -> None:
    """Sizes that are shown alike are equally thin; knife edges go by what they lose."""
    small = replace(FIN, area_mm2=20.0, smallest_mm=0.996)
    assert worst_first(small, FIN) == [120.0, 20.0]
    edge = replace(FIN, kind=FindingKind.KNIFE_EDGE, loss_mm=0.3, area_mm2=20.0)
    deeper = replace(edge, loss_mm=0.5, smallest_mm=2.0, area_mm2=5.0)
    assert worst_first(edge, deeper) == [5.0, 20.0]


def test_places_of_the_layers_are_alike_by_their_boxes_from_short_to_long() -> None:
    """However they lie: a long one is not a short one, turned ones are alike."""
    turned = replace(FIN, box=((5.0, 5.0, 5.0), (15.0, 11.0, 6.0)))
    assert rows(FIN, turned) == [2]
    longer = replace(FIN, box=((0.0, 0.0, 0.0), (1.0, 30.0, 6.0)))
    assert sorted(rows(FIN, FIN, longer)) == [1, 2]
    aside = replace(FIN, box=((50.0, 0.0, 90.0), (51.0, 10.0, 96.0)))
    assert rows(FIN, aside) == [2]
