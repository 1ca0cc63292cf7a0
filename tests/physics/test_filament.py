"""Filament: a spool's own mass and length agree, and what is not known is at most or unsaid."""

from __future__ import annotations

import math

import pytest

from shrinkrule.physics.filament import Spool, filament_need
from shrinkrule.physics.interval import Interval

GRAMS_PER_METRE = 1.24 * math.pi / 4.0 * 1.75**2
"""A metre of 1.75 mm filament of 1.24 g/cm3: 2.983 g, so that 1 kg is 335 m, as spools state."""


def test_a_kilogram_of_polylactide_is_as_long_as_spools_say() -> None:
    need = filament_need(math.nan, Spool(1.75, 1.24), Interval(1000.0, 10.0), None)
    assert need is not None
    assert need.length_m is not None
    assert need.length_m.value == pytest.approx(335.0, rel=0.002)  # 330 to 335 m by their labels
    assert need.length_m.half95 == pytest.approx(10.0 / GRAMS_PER_METRE, rel=1e-12)
    assert not need.mass_at_most
    assert not need.length_at_most


def test_length_times_cross_section_is_the_volume_where_there_are_no_voids() -> None:
    need = filament_need(20_000.0, Spool(2.85, 5.0), None, None)
    assert need is not None
    assert need.length_m is not None
    assert need.mass_g.value == pytest.approx(100.0, rel=1e-12)
    assert 1e3 * need.length_m.value * math.pi / 4 * 2.85**2 == pytest.approx(20_000.0, rel=1e-12)
    assert need.mass_at_most
    assert need.length_at_most


def test_without_the_filament_s_density_the_print_s_stands_in_and_is_at_most() -> None:
    """A print of 4.7 g/cm3 out of filament of 4.9: as if of 4.7, its filament seems longer."""
    at_most = filament_need(1000.0, Spool(1.75), Interval(4.7), 4.7)
    known = filament_need(1000.0, Spool(1.75, 4.9), Interval(4.7), 4.7)
    assert at_most is not None
    assert known is not None
    assert at_most.length_m is not None
    assert known.length_m is not None
    assert at_most.length_at_most
    assert not at_most.mass_at_most
    assert at_most.length_m.value / known.length_m.value == pytest.approx(4.9 / 4.7, rel=1e-12)


def test_price_is_that_of_the_mass() -> None:
    need = filament_need(1000.0, Spool(price_per_kg=120.0, currency="EUR"), Interval(250.0), None)
    assert need is not None
    assert need.price == pytest.approx(30.0, rel=1e-12)
    assert need.length_m is None


def test_what_is_not_known_is_not_said() -> None:
    assert filament_need(1000.0, Spool(1.75), None, None) is None
    assert filament_need(math.nan, Spool(1.75, 5.0), None, None) is None
    assert filament_need(math.nan, Spool(1.75, 5.0), Interval(math.nan), 5.0) is None


def test_a_print_denser_than_its_filament_is_pointed_out() -> None:
    wrong = filament_need(1000.0, Spool(1.75, 4.9), Interval(5.4), 5.4)
    right = filament_need(1000.0, Spool(1.75, 4.9), Interval(4.95), 4.95)
    assert wrong is not None
    assert "5.40 g/cm3, denser than the filament's 4.90" in wrong.note
    assert right is not None
    assert right.note == ""
