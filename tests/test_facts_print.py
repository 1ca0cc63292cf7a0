"""What the coupon taught about the printer reaches the part: turned, in layers, on its plate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from promise_coverage import Workshop, calibrated

from sag.solids import united
from shrinkrule import (
    CalibrationRow,
    Estimate,
    Printer,
    Recipe,
    compensate,
    demo_table,
    part_from_mesh,
    row_at_density,
)
from shrinkrule.calibration import AXES, Ladder
from shrinkrule.compensation import plate_moved
from shrinkrule.errors import MeshError
from shrinkrule.job import JobResult, Level, Outline
from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.interval import Scatter
from shrinkrule.report.printer_words import print_facts
from shrinkrule.settings import Settings, Stated, limits_of, row_states
from shrinkrule.walls import FindingKind

DEMO = demo_table()[1]
ROW = replace(
    DEMO,
    shrinkage_x=Estimate(0.14, 0.001),
    shrinkage_y=Estimate(0.15, 0.001),
    shrinkage_z=Estimate(0.16, 0.001),
    print_scale_x=Estimate(0.004, 0.0005),
    print_scale_y=Estimate(-0.002, 0.0005),
    print_scale_z=Estimate(0.003, 0.0005),
    length_effect_xy=None,
    length_effect_z=None,
    first_layer_mm=Estimate(-0.1, 0.01),
    bead_offset_mm=Estimate(0.04, 0.005),
)
FACTOR_X, FACTOR_Y, FACTOR_Z = (
    1.0 / (0.86 * 1.004),
    1.0 / (0.85 * 0.998),
    1.0 / (0.84 * 1.003),
)
BOX = trimesh.creation.box((60.0, 20.0, 7.7))
PRINTER = Printer.from_nozzle(0.6)


def made(row: CalibrationRow = ROW, mesh: trimesh.Trimesh = BOX, **asked: object) -> JobResult:
    return compensate(part_from_mesh(mesh), replace(Recipe(PRINTER, row), **asked))  # type: ignore[arg-type]


def facts(result: JobResult) -> dict[str, str]:
    return dict(print_facts(result))


def heights(mesh: trimesh.Trimesh) -> Floats:
    return np.unique(np.round(np.asarray(mesh.vertices)[:, 2], 6))


@pytest.mark.parametrize(
    ("turn", "sides"),
    [
        (0, (60.0 * FACTOR_X, 20.0 * FACTOR_Y)),
        (90, (20.0 * FACTOR_X, 60.0 * FACTOR_Y)),
        (180, (60.0 * FACTOR_X, 20.0 * FACTOR_Y)),
        (270, (20.0 * FACTOR_X, 60.0 * FACTOR_Y)),
    ],
)
def test_a_turned_part_is_scaled_by_the_axes_it_lies_along(
    turn: int, sides: tuple[float, float]
) -> None:
    """A side is scaled by 1 / ((1 - s)(1 + e)) of the axis that prints it, not of the model's."""
    result = made(turn_deg=turn)
    assert result.to_slice.extents == pytest.approx((*sides, 7.7 * FACTOR_Z), rel=1e-9)
    wanted = sorted((60.0, 20.0), reverse=turn in (0, 180))
    fired = [size.fired_mm.value for size in result.prediction.sizes[:2]]
    assert fired == pytest.approx(wanted, abs=1e-9)


def test_a_part_is_not_to_be_turned_where_that_would_be_seen() -> None:
    """60 mm by factors of 1 % apart are 0.7 mm off; a tenth of a millionth apart is nothing."""
    off = 60.0 * abs(FACTOR_X / FACTOR_Y - 1.0)
    assert (
        f"do not turn the green part about Z, or its sides come out up to {off:.2f} mm off"
        in (facts(made())["lies"])
    )
    alike = replace(ROW, shrinkage_y=Estimate(1.0 - 0.86 * 1.00001, 0.001), print_scale_y=None)
    alike = replace(alike, print_scale_y=ROW.print_scale_x)
    assert made(alike).green.factors.x != made(alike).green.factors.y
    assert "lies" not in facts(made(alike))


@pytest.mark.parametrize("first_mm", [0.3, 0.25, 0.4])
def test_whole_layers_stretch_the_height_by_less_than_half_a_layer(first_mm: float) -> None:
    """The mesh that is written is whole layers high, and its plan is as it was."""
    layer = PRINTER.layer_height_mm
    plain = made(first_layer_mm=first_mm)
    result = made(first_layer_mm=first_mm, whole_layers=True)
    before, height = plain.to_slice.extents[2], float(result.to_slice.extents[2])
    assert 0.0 < abs(height - before) <= 0.5 * layer + 1e-9
    assert (height - first_mm) / layer == pytest.approx(round((height - first_mm) / layer))
    assert result.to_slice.extents[:2] == pytest.approx(plain.to_slice.extents[:2])
    # The furnace takes 16 % and the printer adds 0.3 %; the first layer is short by 0.1 mm.
    fired = 0.84 * (1.003 * height - 0.1)
    assert result.prediction.sizes[2].fired_mm.value == pytest.approx(fired, abs=1e-9)
    stretched = 100.0 * (height / before - 1.0)
    assert f"stretched in Z by {stretched:+.2f} %" in facts(result)["layers"]
    assert "wanted heights that come out whole" in facts(plain)["layers"]


def table_on_legs() -> trimesh.Trimesh:
    """A plate 4 mm thick on two legs 6 mm high: faces at 0, 6 and 10 mm."""
    return united(
        trimesh.creation.box(bounds=[[0, 0, 6], [40, 20, 10]]),
        trimesh.creation.box(bounds=[[0, 0, 0], [10, 20, 6]]),
        trimesh.creation.box(bounds=[[30, 0, 0], [40, 20, 6]]),
    )


@pytest.mark.parametrize("added", [0.1, -0.1])
def test_only_the_faces_on_the_plate_move(added: float) -> None:
    mesh = table_on_legs()
    moved = plate_moved(mesh, added)
    assert heights(moved) == pytest.approx([0.0, 6.0 + added, 10.0 + added])
    assert moved.is_watertight
    # Two legs of 10 by 20 mm grow by what was added.
    assert moved.volume == pytest.approx(mesh.volume + 2 * 10.0 * 20.0 * added)


def test_a_part_that_stands_on_a_point_has_nothing_to_move() -> None:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=5.0)
    with pytest.raises(MeshError, match="no face lies on the plate"):
        plate_moved(ball, 0.1)


def test_the_offset_takes_the_first_layer_off_at_the_faces_on_the_plate() -> None:
    """Heights from the plate get the 0.1 mm that they lack; the plate of the table stays 4 mm."""
    drawn = made(mesh=table_on_legs())
    offset = made(mesh=table_on_legs(), outline=Outline.IN_MESH)
    assert heights(drawn.to_slice) == pytest.approx([0.0, 6.0 * FACTOR_Z, 10.0 * FACTOR_Z])
    # Bead spread is taken off upright faces alone.
    assert heights(offset.to_slice) == pytest.approx(
        [0.0, 6.0 * FACTOR_Z + 0.1, 10.0 * FACTOR_Z + 0.1], abs=1e-6
    )
    assert offset.to_slice.extents[:2] == pytest.approx(drawn.to_slice.extents[:2] - 0.08, abs=1e-6)
    assert "taken off at the faces on the plate" in facts(offset)["first layer"]
    assert "in the predicted height" in facts(drawn)["first layer"]


def test_a_row_at_a_density_carries_every_fact_of_both() -> None:
    """Halfway in the logarithm: mean values, uncertainties in squares, the larger scatter."""

    def at(density: float, shift: float) -> CalibrationRow:
        parts = Scatter(0.001, 0.002 + shift, 0.003 - shift, 2.0 + shift, 0.0005)
        return replace(
            ROW,
            relative_density=Estimate(density, 0.0),
            shrinkage_x=Estimate(0.14 + shift, 0.001),
            shrinkage_y=Estimate(0.15 + shift, 0.001),
            print_scale_x=Estimate(0.004 + shift, 0.0003),
            print_scale_y=Estimate(-0.002 + shift, 0.0003),
            print_scale_z=Estimate(0.003 + shift, 0.0003),
            first_layer_mm=Estimate(-0.1 + shift, 0.03, 4.0),
            bore_offset_mm=Estimate(-0.08 + shift, 0.04, 3.0),
            parts_x=parts,
            parts_y=parts,
            parts_z=parts,
        )

    low, high = at(0.90, 0.0), at(0.96, 0.002)
    row = row_at_density((low, high), low, (0.90 * 0.96) ** 0.5)
    # Kept lengths go by their geometric mean.
    assert row.along("x").shrinkage.value == pytest.approx(1.0 - (0.86 * 0.858) ** 0.5)
    assert row.along("y").shrinkage.value == pytest.approx(1.0 - (0.85 * 0.848) ** 0.5)
    scales = [scale.value for axis in AXES if (scale := row.along(axis).print_scale) is not None]
    assert scales == pytest.approx([0.005, -0.001, 0.004])
    half = 0.5**0.5
    for found, value, u, dof in (
        (row.print_scale_x, 0.005, 0.0003 * half, np.inf),
        (row.first_layer_mm, -0.099, 0.03 * half, 4.0),
        (row.bore_offset_mm, -0.079, 0.04 * half, 3.0),
    ):
        assert found is not None
        assert (found.value, found.u) == pytest.approx((value, u))
        assert found.dof == dof
    for axis in AXES:
        scatter = row.along(axis).scatter
        assert (scatter.between, scatter.within) == pytest.approx((0.004, 0.003))
        assert (scatter.dof, scatter.line) == (2.0, 0.0005)
    factor = 1.0 / ((0.86 * 0.858) ** 0.5 * 1.005)
    assert row.along("x").factor == pytest.approx(factor)


@pytest.mark.parametrize("units", [0.0, 1.0, 2.0, 3.0, 5.0])
def test_an_effect_enters_the_row_at_its_size_whether_it_is_significant_or_not(
    units: float,
) -> None:
    """Axis error of X, first layer, and Y against X, each of so many standard uncertainties.

    Dropped where it is under two, an effect of one would be found at less than half its size. Means
    of 16 fits are known to a quarter of ``u``; three of these are allowed.
    """
    u_scale, u_layer, u_differ = 0.00032, 0.010, 0.0003
    shop = Workshop(
        scale=(units * u_scale, 0.0, 0.0),
        first_layer_mm=units * u_layer,
        shrinkage=(0.145, 0.145 + units * u_differ, 0.16),
        firing_sd=0.0003,
        part_sd=0.0002,
    )
    rows = [calibrated(np.random.default_rng([21, n]), shop, (1, 1)) for n in range(16)]
    found = {
        "scale": [r.print_scale_x.value / u_scale for r in rows if r.print_scale_x],
        "layer": [r.first_layer_mm.value / u_layer for r in rows if r.first_layer_mm],
        "differ": [
            (r.along("y").shrinkage.value - r.along("x").shrinkage.value) / u_differ for r in rows
        ],
    }
    for name, values in found.items():
        assert len(values) == 16
        assert np.mean(values) == pytest.approx(units, abs=0.75), name
        # The unit is what the effect scatters by, so that 1, 2 and 3 of it mean what they say.
        assert 0.5 < np.std(values, ddof=1) < 1.7, name


def test_who_asks_for_a_limit_is_said_where_it_is_not_the_usual_one() -> None:
    row = replace(ROW, name="a", walls=Ladder(0.83, 0.66, 1), floors=Ladder(0.9, 0.6, 3))
    told = Settings(Stated.by_options()).with_row(row_states(row, "table.csv"))
    result = made(row, settings=told, limits=limits_of(told))
    assert facts(result)["limits"] == "a wall needs 0.83 mm, 1.258 beads: row 'a' of table.csv"
    assert "limits" not in facts(made())


def test_the_mesh_that_is_written_is_looked_at_once_more() -> None:
    """A fin of 0.70 mm green has 0.62 mm left when its outlines are moved by 0.04 mm."""
    foot = trimesh.creation.box((40.0, 20.0, 4.0))
    fin = trimesh.creation.box((0.70 / FACTOR_X, 16.0, 10.0))
    fin.apply_translation((0.0, 0.0, 6.0))
    part = united(foot, fin)
    straight = made(mesh=part)
    assert straight.written is None
    assert straight.verdict.level is Level.LOOK
    moved = made(mesh=part, outline=Outline.IN_MESH)
    assert moved.written is not None
    (place,) = moved.written.walls
    assert place.finding.kind is FindingKind.THIN_WALL
    assert place.finding.smallest_mm == pytest.approx(0.62, abs=0.002)
    assert moved.verdict.level is Level.STOP
    assert any(
        reason.text.startswith("as written, thin wall: 1 place, worst 0.62 mm green")
        for reason in moved.verdict.reasons
    )


def test_what_the_straight_part_shows_is_not_told_twice() -> None:
    """A fin of 0.5 mm is thin before and after."""
    fin = trimesh.creation.box((0.5, 16.0, 10.0))
    fin.apply_translation((0.0, 0.0, 6.0))
    part = united(trimesh.creation.box((40.0, 20.0, 4.0)), fin)
    moved = made(mesh=part, outline=Outline.IN_MESH)
    assert moved.written is not None
    assert moved.written.walls == ()
    assert not [r for r in moved.verdict.reasons if r.text.startswith("as written")]
