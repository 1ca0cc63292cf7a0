"""Promises of dimensions: the row's own facts reach each length, in the print's axes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from dimensions.solids import box, mesh_of, plate, rod, single
from shrinkrule import demo_table, find_row, part_from_mesh, stl_bytes
from shrinkrule.calibration import CalibrationRow, Estimate, Feature, LengthEffect
from shrinkrule.cli import main
from shrinkrule.compensation import AS_DRAWN, LayerHeights, Print
from shrinkrule.dimensions import (
    Bending,
    Dimension,
    Kind,
    find_dimensions,
    making_of,
    promise_dimensions,
)
from shrinkrule.dimensions.promise import PromisedDimension

ROW = find_row(demo_table(), "bronze demo batch 90", "demo")
"""Invented material."""


def dimension(
    kind: Kind, size: float, direction: tuple[float, float, float], **more: object
) -> Dimension:
    feature = {Kind.BORE: Feature.BORE, Kind.INSIDE: Feature.SLOT, Kind.STEP: Feature.STEP}
    return Dimension(
        kind,
        size,
        direction,
        (0.0, 0.0, 0.0),
        feature.get(kind, Feature.OUTSIDE),
        **more,  # type: ignore[arg-type]
    )


def promised(
    one: Dimension, row: CalibrationRow = ROW, made: Print = AS_DRAWN, **laid: object
) -> PromisedDimension:
    block = part_from_mesh(
        trimesh.creation.box((60, 40, 20), trimesh.transformations.translation_matrix((0, 0, 10)))
    )
    (found,) = promise_dimensions([one], making_of(block, row, made=made, **laid))  # type: ignore[arg-type]
    return found


def level_row(**facts: object) -> CalibrationRow:
    """Row without effects of length, with one shrinkage along each axis."""
    plain = replace(ROW, length_effect_xy=None, length_effect_z=None)
    return replace(plain, **facts)  # type: ignore[arg-type]


def test_an_overall_size_is_promised_as_the_main_job_promises_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two ways to one number: the part's box in the report, and its side as a dimension."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plate.stl").write_bytes(stl_bytes(mesh_of(plate()[0]), "plate"))
    command = ["compensate", "plate.stl", "--demo-table", "--print-up", "y", "--json"]
    assert main([*command, "--layer-height", "0.3", "--nozzle", "0.6"]) == 0
    report = json.loads(capsys.readouterr().out)
    by_axis = {size["axis"]: size for size in report["prediction"]["sizes"]}
    overall = [one for one in report["dimensions"] if one["kind"] == "overall"]
    assert {one["readings"][0]["in_print"] for one in overall} == set("XYZ")
    for one in overall:
        size = by_axis[one["readings"][0]["in_print"]]
        assert one["size_mm"] == pytest.approx(size["wanted_mm"])
        fired = one["readings"][0]["fired_mm"]
        assert fired["value"] == pytest.approx(size["fired_mm"]["value"])
        assert fired["half95"] == pytest.approx(size["fired_mm"]["half95"])
        assert (one["iso286"] or "", one["iso2768"] or "") == (size["iso286"], size["iso2768"])
    assert "The part's own dimensions" in (tmp_path / "plate.report.html").read_text("utf-8")


def test_a_bore_has_the_offset_of_its_own_diameter() -> None:
    """Green and fired sizes of 4 mm and 20 mm, of which the small one is tighter."""
    row = level_row(
        bore_offset_mm=Estimate(-0.2, 0.01), bore_curve_mm=Estimate(-0.1, 0.01), bore_at_mm=5.0
    )
    for size in (4.0, 20.0):
        bore = dimension(Kind.BORE, size, (0, 0, 1), is_round=True)
        (reading, _), (plain, _) = (
            promised(bore, one).readings
            for one in (row, level_row(bore_offset_mm=Estimate(0.0, 0.01)))
        )
        off = -0.2 - 0.1 * (5.0 / plain.green_mm - 1.0)
        assert reading.green_mm - plain.green_mm == pytest.approx(off, rel=1e-6)
        kept = 1.0 - row.along("x").shrinkage.value
        assert reading.fired_mm.value - plain.fired_mm.value == pytest.approx(kept * off, rel=1e-6)


def test_a_bore_alone_has_the_bore_offset() -> None:
    """Green 0.2 mm too small: fired smaller by that less its shrinkage; a slot is not."""
    row = level_row(bore_offset_mm=Estimate(-0.2, 0.01))
    bore = promised(dimension(Kind.BORE, 8.0, (0, 0, 1), is_round=True), row)
    for reading in bore.readings:
        kept = 1.0 - row.along("x" if reading.along == "X" else "y").shrinkage.value
        assert reading.fired_mm.value == pytest.approx(8.0 - 0.2 * kept)
        assert reading.green_mm == pytest.approx(8.0 / kept - 0.2)
    assert [reading.along for reading in bore.readings] == ["X", "Y"]
    slot = promised(dimension(Kind.INSIDE, 8.0, (1, 0, 0)), row)
    assert slot.worst.fired_mm.value == pytest.approx(8.0)


def test_a_round_that_lies_is_expected_and_not_promised() -> None:
    lying = promised(dimension(Kind.BORE, 8.0, (1, 0, 0), is_round=True))
    assert {reading.along for reading in lying.readings} == {"Y", "Z"}
    assert all(reading.fired_mm.half95 is None for reading in lying.readings)
    assert (lying.iso286, lying.iso2768) == ("", "")


def test_only_heights_from_the_plate_have_the_first_layer() -> None:
    row = level_row(first_layer_mm=Estimate(-0.1, 0.0))
    kept = 1.0 - row.along("z").shrinkage.value
    from_plate = promised(dimension(Kind.WALL, 6.0, (0, 0, 1), level_mm=0.0), row)
    above = promised(dimension(Kind.WALL, 6.0, (0, 0, 1), level_mm=3.0), row)
    assert from_plate.worst.fired_mm.value == pytest.approx(6.0 - 0.1 * kept)
    assert above.worst.fired_mm.value == pytest.approx(6.0)
    # Printed upside down, the length from 14 to 20 begins at the plate.
    turned = promised(dimension(Kind.WALL, 6.0, (0, 0, 1), level_mm=14.0), row, print_up="-z")
    assert turned.worst.fired_mm.value == pytest.approx(6.0 - 0.1 * kept)


def test_heights_begin_and_end_at_whole_layers() -> None:
    """Layers of 0.3 mm: each end is at the nearest one, so a step may gain or lose a layer."""
    row = level_row(first_layer_mm=None, print_scale_z=None)
    factor = row.along("z").factor
    made = Print(LayerHeights(0.3, 0.3))
    for low, size in ((0.0, 5.1), (1.1, 3.3), (2.37, 4.0)):
        one = promised(dimension(Kind.STEP, size, (0, 0, 1), level_mm=low), row, made)
        layers = round((low + size) * factor / 0.3) - round(low * factor / 0.3)
        assert one.worst.green_mm == pytest.approx(0.3 * layers)
        assert one.worst.fired_mm.value == pytest.approx(0.3 * layers / factor)


def test_axes_are_those_of_the_print() -> None:
    """Along the model's Z, printed with X up, a length lies in the layers."""
    one = dimension(Kind.STEP, 10.0, (0, 0, 1))
    assert promised(one).worst.along == "Z"
    lying = promised(one, print_up="x")
    assert lying.worst.along in "XY"
    other = promised(one, print_up="x", turn_deg=90)
    assert {lying.worst.along, other.worst.along} == {"X", "Y"}


def test_a_slanting_length_lies_between_its_axes() -> None:
    """Half of each strain at 45 degrees: that of a fibre in a plane of two principal strains.

    Printed 1 % too long in X and true in Y, by a scale that is not corrected for: the fibre is
    longer by half a per cent, to the second order of the strain.
    """
    row = level_row(shrinkage_x=ROW.shrinkage_xy, shrinkage_y=ROW.shrinkage_xy)
    row = replace(row, print_scale_x=Estimate(0.0, 0.0), print_scale_y=Estimate(0.0, 0.0))
    block = part_from_mesh(trimesh.creation.box((60, 40, 20)))
    making = making_of(block, row)
    making = replace(making, row=replace(making.row, print_scale_x=Estimate(0.01, 0.0)))
    half = float(np.sqrt(0.5))
    slanting = dimension(Kind.AXES, 30.0, (half, half, 0.0))
    (one,) = promise_dimensions([replace(slanting, feature=Feature.STEP)], making)
    assert one.worst.along == "slanting"
    exact = 30.0 * np.hypot(1.01 * half, half)
    assert one.worst.fired_mm.value == pytest.approx(exact, abs=30.0 * 0.01**2)


def test_the_interval_is_the_row_s_own() -> None:
    step = promised(dimension(Kind.STEP, 12.0, (0, 1, 0)))
    row = making_of(part_from_mesh(trimesh.creation.box((60, 40, 20))), ROW).row
    fired = step.worst.fired_mm
    assert fired.half95 == row.promise("y", fired.value, Feature.STEP).half95


def test_a_row_of_one_firing_promises_nothing() -> None:
    row = replace(ROW, firing_scatter_known=False)
    one = promised(dimension(Kind.STEP, 12.0, (0, 1, 0)), row)
    assert one.worst.fired_mm.half95 is None
    assert (one.iso286, one.iso2768) == ("", "")


def test_classes_hold_the_expected_error_too() -> None:
    """A step has no grade of size, and one that comes out 0.85 mm short holds no fine class."""
    good = promised(dimension(Kind.STEP, 12.0, (0, 1, 0)))
    assert good.iso286 == ""
    assert good.iso2768 in {"fine", "medium"}
    row = level_row(bore_offset_mm=Estimate(-1.0, 0.01))
    bore = promised(dimension(Kind.BORE, 12.0, (0, 0, 1), is_round=True), row)
    assert bore.iso2768 == "very coarse"


def test_a_length_that_shrinks_otherwise_is_expected_where_it_will_be() -> None:
    """Shrinkage holds at the part's own length; a short one comes out longer by the intercept."""
    effect = LengthEffect(Estimate(0.1, 0.0), 60.0)
    row = level_row(length_effect_xy=effect, print_scale_x=None, shrinkage_x=None, shrinkage_y=None)
    one = promised(dimension(Kind.STEP, 6.0, (1, 0, 0)), row)
    whole = promised(dimension(Kind.OVERALL, 60.0, (1, 0, 0)), row)
    assert whole.worst.fired_mm.value == pytest.approx(60.0, abs=1e-9)
    assert one.worst.fired_mm.value == pytest.approx(6.0 + 0.1 * (1 - 6.0 / 60.0), abs=2e-3)


def test_found_lengths_know_where_they_begin() -> None:
    """The bore's floor at 3, its depth from 3 to 8; the boss from 8 to 12."""
    found = find_dimensions(part_from_mesh(single(mesh_of(plate()[0]))))
    begins = {round(one.size_mm, 3): one.level_mm for one in found.every if one.kind is Kind.DEPTH}
    assert begins == pytest.approx({8.0: 0.0, 5.0: 3.0, 4.0: 8.0}, abs=1e-5)


def test_command_shows_the_promise_at_80_columns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    solid = box((30, 30, 10)) - rod(8, 30, (15, 15, -5), 64)
    (tmp_path / "ring.stl").write_bytes(stl_bytes(mesh_of(solid), "ring"))
    assert main(["dimensions", "ring.stl", "--demo-table", "--print-up", "x"]) == 0
    shown = capsys.readouterr().out
    assert max(len(line) for line in shown.splitlines()) <= 80
    (bore,) = [line for line in shown.splitlines() if " bore " in line]
    assert bore.rstrip().endswith("not known")
    assert "rounds that lie" in shown
    head, *rows = (tmp_path / "ring.dimensions.csv").read_text("utf-8").splitlines()
    assert head.endswith("in_print,green_mm,fired_mm,half95_mm,iso286,iso2768")
    assert rows[0].split(",")[-6] in "XYZ"


def test_a_length_has_the_sag_between_its_ends_and_a_round_what_its_readings_see() -> None:
    """A part that the heat stretches by 2 % of X, of which the allowance takes nine tenths.

    By hand: 30 mm along X stretch by 0.6 mm, of which 0.06 are left; a third of 0.6 is unsure, and
    all of the grid's 0.01, since its ends move as far against each other as anything moves at all.
    """
    points = np.stack(np.meshgrid([-30.0, -15, 0, 15, 30], [-3, 0, 3], [0, 10]), axis=-1)
    points = points.reshape(-1, 3)
    sag = points * [0.02, 0.0, 0.0]
    bending = Bending(points, sag, -0.9 * sag, 0.1 * sag, 1.0 / 3.0, 0.01)
    wall = dimension(Kind.WALL, 30.0, (1.0, 0.0, 0.0), level_mm=-15.0)
    plain, bent = promised(wall).worst, promised(wall, bending=bending).worst
    assert bent.fired_mm.value - plain.fired_mm.value == pytest.approx(0.06)
    factor = 1.0 / (1.0 - ROW.along("x").shrinkage.value)
    assert bent.green_mm - plain.green_mm == pytest.approx(-0.54 * factor, rel=2e-3)
    assert plain.fired_mm.half95 is not None
    numerical = 0.01 * 0.6 / 0.6
    by_sag = np.hypot(0.2, numerical)
    assert bent.fired_mm.half95 == pytest.approx(np.hypot(plain.fired_mm.half95, by_sag))
    bore = dimension(Kind.BORE, 30.0, (0.0, 0.0, 1.0), is_round=True)
    across = promised(bore, bending=bending)
    straight = promised(bore)
    along_x, along_y = (
        bent.fired_mm.value - plain.fired_mm.value
        for bent, plain in zip(across.readings, straight.readings, strict=True)
    )
    assert (along_x, along_y) == pytest.approx((0.06, 0.0), abs=1e-9)
