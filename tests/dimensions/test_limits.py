"""Chances against the distributions they come from, rows found again, and advice that helps."""

from __future__ import annotations

import csv
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
import trimesh
from scipy.stats import norm, t

from dimensions.solids import mesh_of, plate
from shrinkrule import demo_table, find_row, part_from_mesh, stl_bytes
from shrinkrule.calibration import Feature, Scatter
from shrinkrule.cli import main
from shrinkrule.compensation import LayerHeights, Print
from shrinkrule.dimensions import (
    Dimension,
    Kind,
    Limits,
    Making,
    PromisedDimension,
    Toleranced,
    chance_of,
    judged,
    making_of,
    other_ways_up,
    part_chance,
    promise_dimensions,
    read_limits,
)
from shrinkrule.dimensions.advice import firings_needed
from shrinkrule.dimensions.threads import coarse_thread
from shrinkrule.errors import TableError

ROW = find_row(demo_table(), "bronze demo batch 90", "demo")
STEP = Dimension(Kind.STEP, 20.0, (1.0, 0.0, 0.0), (0.0, 0.0, 0.0), Feature.STEP)
BORE = Dimension(Kind.BORE, 8.0, (0.0, 0.0, 1.0), (0.0, 0.0, 0.0), Feature.BORE, is_round=True)


def making(**facts: object) -> Making:
    row = replace(ROW, **facts)  # type: ignore[arg-type]
    return making_of(part_from_mesh(trimesh.creation.box((60, 40, 20))), row)


def told(one: Dimension, limits: Limits, how: Making) -> Toleranced:
    (found,) = judged(promise_dimensions([one], how), {0: limits}, how)
    return found


def test_chance_of_the_interval_itself_is_95_per_cent() -> None:
    how = making()
    (one,) = promise_dimensions([STEP], how)
    fired, half = one.worst.fired_mm.value, one.worst.fired_mm.half95
    assert half is not None
    assert chance_of(STEP, Limits(fired - half, fired + half), how) == pytest.approx(0.95, abs=1e-4)
    assert chance_of(STEP, Limits(-math.inf, fired + half), how) == pytest.approx(0.975, abs=1e-4)
    assert chance_of(STEP, Limits(fired, math.inf), how) == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize("dof", [3.0, 12.0, math.inf])
@pytest.mark.parametrize("reach", [0.02, 0.06, 0.15])
def test_chance_is_student_s_where_one_scatter_is_all(dof: float, reach: float) -> None:
    """Only the residual of 0.05 mm scatters: t with its degrees of freedom (scipy)."""
    none = Scatter(0.0, 0.0, 0.0, math.inf)
    how = making(
        parts_x=none,
        residual_xy_mm=0.05,
        residual_dof=dof,
        length_effect_xy=None,
        scatter_xy=0.0,
    )
    how = replace(how, row=replace(how.row, print_scale_x=None))
    law = norm if math.isinf(dof) else t(dof)
    (one,) = promise_dimensions([STEP], how)
    fired = one.worst.fired_mm.value
    wanted = law.cdf(reach / 0.05) - law.cdf(-0.5 * reach / 0.05)
    chance = chance_of(STEP, Limits(fired - 0.5 * reach, fired + reach), how)
    assert chance == pytest.approx(wanted, abs=1e-4)


def test_a_round_has_the_chance_of_its_worse_reading() -> None:
    """Y scatters far more than X."""
    narrow, wide = Scatter(1e-4, 1e-4, 1e-4, 50.0), Scatter(4e-3, 4e-3, 4e-3, 50.0)
    how = making(parts_x=narrow, parts_y=wide)
    limits = Limits(7.85, 8.1)
    both = chance_of(BORE, limits, how)
    along_y = chance_of(replace(BORE, direction=(0.0, 1.0, 0.0), is_round=False), limits, how)
    assert both == pytest.approx(along_y, abs=1e-6)


def test_what_no_coupon_shows_has_no_chance() -> None:
    lying = replace(BORE, direction=(1.0, 0.0, 0.0))
    one = told(lying, Limits(7.9, 8.1), making())
    assert one.chance is None
    assert part_chance([one]) is None


def test_the_part_keeps_all_limits_between_two_bounds() -> None:
    """Two chances of 90 and 80 %: 70 to 80 %, whatever they share (Bonferroni)."""
    promised = PromisedDimension(STEP, (), "", "")
    some = [Toleranced(1, promised, Limits(0, 1), chance, "") for chance in (0.9, 0.8)]
    assert part_chance(some) == pytest.approx((0.7, 0.8))
    assert part_chance([]) is None


def test_advice_to_draw_otherwise_brings_what_it_says() -> None:
    """The bore comes out small by its offset: drawn larger by that, most keep the limits."""
    how = making()
    limits = Limits(8.1, 8.4)
    one = told(BORE, limits, how)
    assert one.chance is not None
    assert one.chance < 0.5
    drawn, chance = one.advice.removeprefix("draw it ").split(" mm: ")
    redrawn = chance_of(replace(BORE, size_mm=float(drawn)), limits, how)
    assert redrawn == pytest.approx(float(chance.removesuffix(" %")) / 100, abs=0.02)
    assert redrawn is not None
    assert redrawn > 0.9


def size_with_stock(one: Toleranced) -> float:
    found = re.search(r"leave stock and [^:]*: draw it ([\d.]+) mm, up to", one.advice)
    assert found is not None
    return float(found[1])


def test_stock_is_left_on_the_side_that_can_be_cut() -> None:
    """Limits 20 um wide: a bore is drawn so small, a block so large, that 97.5 % can be cut."""
    how = making()
    bore = told(BORE, Limits(7.99, 8.01), how)
    assert "ream" in bore.advice
    drawn = size_with_stock(bore)
    left = chance_of(replace(BORE, size_mm=drawn), Limits(-math.inf, 7.99), how)
    assert left == pytest.approx(0.975, abs=0.02)
    block = replace(STEP, kind=Kind.WALL, feature=Feature.OUTSIDE)
    wall = told(block, Limits(19.99, 20.01), how)
    assert "file" in wall.advice
    drawn = size_with_stock(wall)
    left = chance_of(replace(block, size_mm=drawn), Limits(20.01, math.inf), how)
    assert left == pytest.approx(0.975, abs=0.02)


def test_another_way_up_is_advised_where_it_alone_does_it() -> None:
    """Z scatters so much that no length along it is sure; laid along X the same step is."""
    wide = Scatter(6e-3, 6e-3, 6e-3, 50.0)
    row = replace(ROW, parts_z=wide)
    block = part_from_mesh(trimesh.creation.box((60, 40, 20)))
    upright = replace(STEP, direction=(0.0, 0.0, 1.0))
    limits = Limits(19.8, 20.2)
    now = making_of(block, row)
    ways = other_ways_up(block, row, "z", now.made)
    assert set(ways) == {"x", "-x", "y", "-y", "-z"}
    (one,) = judged(promise_dimensions([upright], now), {0: limits}, now, ways)
    assert one.chance is not None
    assert one.chance < 0.6
    name, chance = re.search(r"print it with (-?[xyz]) up: (\d+) %", one.advice).groups()  # type: ignore[union-attr]
    assert name in {"x", "-x", "y", "-y"}
    there = chance_of(upright, limits, ways[name])
    assert there is not None
    assert there > 0.9
    assert there == pytest.approx(int(chance) / 100, abs=0.03)


def test_firings_that_would_do_are_enough_and_one_fewer_is_not() -> None:
    """Firings scatter by 0.3 % and nothing else does, known from three of them.

    With n firings 90 % of parts lie within t(0.95; n - 1) s sqrt(1 + 1/n) of their mean (the
    prediction interval of a normal sample, scipy); the limits lie between that of six and of seven.
    """
    firings = Scatter(0.003 / 3**0.5, 0.003, 0.0, 2.0)
    how = making(
        parts_x=firings, firings=3, degrees_of_freedom=2.0, residual_xy_mm=0.0,
        length_effect_xy=None, print_scale_x=None, shrinkage_x=None,
    )  # fmt: skip
    kept = 1.0 - how.row.along("x").shrinkage.value
    green = 20.0 / kept

    def reach(n: int) -> float:
        return float(t(n - 1).ppf(0.95) * 0.003 * green * math.sqrt(1.0 + 1.0 / n))

    limits = Limits(20.0 - 0.5 * (reach(6) + reach(7)), 20.0 + 0.5 * (reach(6) + reach(7)))
    assert firings_needed(STEP, limits, how) == 7
    assert firings_needed(STEP, Limits(19.95, 20.05), how) is None


TAPPING: list[tuple[str, float, float, float]] = [
    ("M2", 1.6, 1.567, 1.679),
    ("M3", 2.5, 2.459, 2.599),
    ("M4", 3.3, 3.242, 3.422),
    ("M5", 4.2, 4.134, 4.334),
    ("M6", 5.0, 4.917, 5.153),
    ("M8", 6.75, 6.647, 6.912),
    ("M10", 8.5, 8.376, 8.676),
    ("M12", 10.25, 10.106, 10.441),
    ("M16", 14.0, 13.835, 14.210),
    ("M20", 17.5, 17.294, 17.744),
    ("M24", 21.0, 20.752, 21.252),
]
"""D - P, and the least and largest minor diameter, 6H, of ISO 965-2 (table from memory)."""


@pytest.mark.parametrize(("name", "hole", "least", "largest"), TAPPING)
def test_a_tapping_hole_lies_within_the_limits_of_its_minor_diameter(
    name: str, hole: float, least: float, largest: float
) -> None:
    thread = coarse_thread(name.lower())
    assert thread is not None
    assert thread.hole_mm == pytest.approx(hole)
    assert thread.minor_limits_mm == pytest.approx((least, largest), abs=6e-4)
    assert least < hole < largest


def test_a_bore_to_be_tapped_is_drawn_so_that_it_fires_to_its_hole(tmp_path: Path) -> None:
    """A bore of 5.0 for M5: limits are those of the minor diameter, and 4.2 is what comes out."""
    bore = replace(BORE, size_mm=5.0)
    row = {**listed("bore", "5.0", "0"), "thread": "M5"}
    limits = read_limits(written(tmp_path / "edited.csv", [row]), [bore])
    assert (limits[0].lower_mm, limits[0].upper_mm) == pytest.approx((4.134, 4.334), abs=6e-4)
    how = making()
    one = told(bore, limits[0], how)
    assert one.chance is not None
    assert one.chance < 0.01
    drawn, green = re.search(r"draw it ([\d.]+) mm, ([\d.]+) as printed", one.advice).groups()  # type: ignore[union-attr]
    (again,) = promise_dimensions([replace(bore, size_mm=float(drawn))], how)
    assert again.worst.fired_mm.value == pytest.approx(4.2, abs=0.01)
    assert again.worst.green_mm == pytest.approx(float(green), abs=0.01)
    for wrong, words in (({"kind": "boss"}, "into a bore"), ({"thread": "M7x2"}, "no metric")):
        path = written(tmp_path / "wrong.csv", [{**row, **wrong}])
        with pytest.raises(TableError, match=words):
            read_limits(path, [bore])


def written(path: Path, rows: list[dict[str, str]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return path


def listed(kind: str, size: str, x: str, lower: str = "", upper: str = "") -> dict[str, str]:
    return {
        "kind": kind, "size_mm": size, "direction_x": "0", "direction_y": "0", "direction_z": "1",
        "x_mm": x, "y_mm": "0", "z_mm": "0", "lower_mm": lower, "upper_mm": upper,
    }  # fmt: skip


def test_rows_are_found_again_by_what_they_are_and_where(tmp_path: Path) -> None:
    """Another order, sizes off by the rounding of a new export, two alike at two places."""
    found = [
        replace(BORE, size_mm=5.0004, place=(30.0, 0.0, 0.0)),
        replace(BORE, size_mm=8.0),
        replace(BORE, size_mm=5.0003, place=(10.0, 0.0, 0.0)),
    ]
    rows = [
        listed("bore", "5.0000", "10,01", "4,9", "5,1"),
        listed("bore", "5.0000", "30", upper="5.05"),
        listed("bore", "8.0000", "0"),
    ]
    limits = read_limits(written(tmp_path / "edited.csv", rows), found)
    assert limits == {2: Limits(4.9, 5.1), 0: Limits(-math.inf, 5.05)}


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (listed("bore", "5", "0", "5.1", "4.9"), "line 2: the lower limit 5.1"),
        (listed("bore", "6", "0", "5.9", "6.1"), "line 2: the part has no bore of 6 mm"),
        (listed("boss", "5", "0", "4.9", "5.1"), "no boss of 5 mm"),
        (listed("bore", "5", "0", "about 5", "5.1"), "line 2: 'about5' is no number"),
    ],
)
def test_what_cannot_be_meant_is_refused(tmp_path: Path, row: dict[str, str], words: str) -> None:
    path = written(tmp_path / "edited.csv", [row])
    with pytest.raises(TableError, match=r"edited.csv: ") as refused:
        read_limits(path, [replace(BORE, size_mm=5.0)])
    assert words in str(refused.value)


def test_list_goes_round_through_the_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Limits written into the list come back with chances, and stay in the list."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    (tmp_path / "plate.stl").write_bytes(stl_bytes(mesh_of(plate()[0]), "plate"))
    assert main(["dimensions", "plate.stl"]) == 0
    path = tmp_path / "plate.dimensions.csv"
    with path.open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    rows[0]["lower_mm"], rows[0]["upper_mm"] = "59.5", "60.5"
    written(path, rows)
    capsys.readouterr()
    assert main(["dimensions", "plate.stl", "--dimensions", path.name]) == 2
    assert "--table, --row" in capsys.readouterr().err
    command = ["dimensions", "plate.stl", "--demo-table", "--dimensions", path.name]
    assert main(command) == 0
    shown = capsys.readouterr().out
    assert "59.50 to 60.50" in shown
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert main([*command, "--json"]) == 0
    (limit,) = json.loads(capsys.readouterr().out)["limits"]
    assert limit["number"] == 1
    assert 0.9 < limit["chance"] <= 1.0
    with path.open(encoding="utf-8") as stream:
        again = list(csv.DictReader(stream))
    assert (again[0]["lower_mm"], again[0]["upper_mm"]) == ("59.5", "60.5")
    assert float(again[0]["chance_pct"]) == pytest.approx(100 * limit["chance"], abs=0.06)


def test_drawn_height_is_said_with_the_chance_its_whole_layers_give() -> None:
    """In layers of 1 mm most drawings of a height come out as they did before."""
    up, home = (0.0, 0.0, 1.0), (0.0, 0.0, 0.0)
    height = Dimension(Kind.OVERALL, 20.0, up, home, Feature.OUTSIDE, level_mm=0.0)
    how = replace(making(), plate_mm=0.0, made=Print(LayerHeights(1.0, 1.0)))
    (now,) = promise_dimensions([height], how)
    fired, half = now.worst.fired_mm.value, now.worst.fired_mm.half95
    assert half is not None
    near = told(height, Limits(fired + 0.1 - half, fired + 0.1 + half), how)
    assert near.chance is not None
    assert near.chance < 0.9
    assert "no drawn height does better" in near.advice
    far = told(height, Limits(fired + 0.85 - half, fired + 0.85 + 2.0), how)
    drawn = re.search(r"draw it ([\d.]+) mm: (\d+) %", far.advice)
    assert drawn is not None
    redrawn = told(replace(height, size_mm=float(drawn[1])), far.limits, how)
    assert redrawn.chance == pytest.approx(int(drawn[2]) / 100, abs=0.006)
