"""A small seeded run of the simulated workshops: what is printed for the next part holds it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from promise_coverage import WORKSHOPS, Workshop, calibrated, coverage, with_effect

from shrinkrule.calibration import AXES, Feature, read_table, table_csv

SETS = 30


@pytest.mark.parametrize("name", ["axis errors", "X against Y", "first layer", "bores"])
def test_the_promise_holds_where_the_coupon_sees_the_cause(name: str) -> None:
    """Of 630 lengths on 30 parts at least 91 %: 97 % are held, parts of a set go together."""
    cells = coverage(WORKSHOPS[name], SETS, 13)
    held = float(np.mean([cell.held for cell in cells.values()]))
    assert held >= 0.91


def test_an_effect_of_a_few_uncertainties_is_applied_and_not_dropped() -> None:
    for units in (1.0, 3.0):
        cells = coverage(with_effect("axis", units, 0.0006), SETS, 14)
        assert np.mean([cell.held for cell in cells.values()]) >= 0.91


def test_a_promise_a_third_as_wide_would_be_caught() -> None:
    """The run can fail: cut to a third, intervals of this kind hold far less than 91 %."""
    cells = coverage(WORKSHOPS["axis errors"], SETS, 13, narrowed=0.3)
    assert np.mean([cell.held for cell in cells.values()]) < 0.8


def test_a_table_keeps_the_promise(tmp_path: Path) -> None:
    """Every number of the promise has a column: what is read again says the same half widths."""
    row = calibrated(np.random.default_rng(5), WORKSHOPS["bores"], (2, 1, 1))
    path = tmp_path / "table.csv"
    path.write_text(table_csv((replace(row, name="one"),)), encoding="utf-8")
    (again,) = read_table(path)
    for axis in AXES:
        for feature in (Feature.OUTSIDE, Feature.SLOT, Feature.BORE):
            for fired in (5.0, 60.0):
                before, after = (r.promise(axis, fired, feature).half95 for r in (row, again))
                if axis != "z" or feature is Feature.OUTSIDE:
                    assert before is not None
                    assert after == pytest.approx(before, rel=1e-6)


def test_offsets_of_prints_alike_keep_the_degrees_of_freedom_of_their_mean() -> None:
    """Two coupons of one printer: a bore's offset is known from all lengths, not from two."""
    quiet = Workshop(print_sd_mm=0.02, bore_mm=-0.08)
    found = [calibrated(np.random.default_rng([6, n]), quiet, (1, 1)) for n in range(12)]
    offsets = [row.bore_offset_mm for row in found]
    assert all(offset is not None and offset.dof >= 1.0 for offset in offsets)
    assert np.median([offset.dof for offset in offsets if offset is not None]) > 2.0
    mean = np.mean([offset.value for offset in offsets if offset is not None])
    # u of one is about 0.01 mm, and twelve are averaged.
    assert mean == pytest.approx(-0.08, abs=0.01)
