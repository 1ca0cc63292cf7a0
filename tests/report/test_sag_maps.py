"""Colours of a sag map: round steps, two hues, and nothing dark that does not matter."""

from __future__ import annotations

import base64
import io
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from PIL import Image

from sag.solids import bar, united
from shrinkrule import Printer, demo_table, part_from_mesh
from shrinkrule.calibration import AXES
from shrinkrule.job import WayLook, weigh_ways
from shrinkrule.printing import PrintFinding, PrintKind
from shrinkrule.report.pictures.camera import VIEWS, Camera
from shrinkrule.report.pictures.colouring import Colouring
from shrinkrule.report.pictures.scene import Stage, draw
from shrinkrule.report.pictures.walls import HATCH, Swatch
from shrinkrule.report.sag.pictures import (
    LEFT,
    PALE,
    SAGS,
    UNHELD,
    SagScale,
    sag_maps,
    way_pictures,
)
from shrinkrule.sag import SagSettings, precurve, sag_material

ROW = demo_table()[1]


def table(length: float = 24.0) -> trimesh.Trimesh:
    """A board of 2 mm on two feet."""
    return united(
        bar((0, 0, 0), (4, 6, 8)),
        bar((length - 4, 0, 0), (length, 6, 8)),
        bar((0, 0, 6), (length, 6, 8)),
    )


@pytest.mark.parametrize("most", [0.0091, 0.093, 0.93, 1.01, 9.4, 26.0])
def test_steps_are_round_and_reach_the_largest_value(most: float) -> None:
    scale = SagScale.up_to(most, 0.0, SAGS)
    assert 3 <= len(scale.colours) <= 6
    assert most / 2 < scale.bounds[-1] < most <= scale.bounds[-1] + scale.step_mm * (1 + 1e-9)
    told = [swatch.text for swatch in scale.swatches]
    # What is written is the limit itself, not a rounding of it.
    assert [float(text.split()[2]) for text in told[:-2]] == pytest.approx(scale.bounds)
    assert told[-1] == "not known"
    assert scale.swatches[-1].colour == HATCH


def test_what_is_far_under_what_matters_stays_pale() -> None:
    scale = SagScale.up_to(0.009, 0.1, SAGS)
    assert np.digitize(0.009, scale.bounds) == 0
    assert scale.colours[0] == pytest.approx(PALE)
    assert scale.colours[-1] == pytest.approx(SAGS)


def test_what_sags_and_what_is_left_have_each_their_hue_and_steps() -> None:
    settings = SagSettings(max_unknowns=2500)
    sag = precurve(table(), sag_material(ROW), settings)
    before, left = sag_maps(sag, (0.0, 0.0, 1.0), 0.01)
    assert (before.title, left.title) == ("without allowance", "with it")

    def darkest(swatches: tuple[Swatch, ...]) -> tuple[int, ...]:
        return tuple(bytes.fromhex(swatches[-2].colour.removeprefix("#")))

    assert darkest(before.swatches) == tuple(round(255 * c) for c in SAGS)
    assert darkest(left.swatches) == tuple(round(255 * c) for c in LEFT)


def test_what_is_not_known_is_striped() -> None:
    """Two greys in equal shares, where every step of a scale is one even colour on a face."""
    box = trimesh.creation.box((10, 10, 10))
    stage = Stage(box)
    camera = Camera.looking_at(stage.points, VIEWS["from the front right, above"], 200, 150)
    top = np.array([[0.0, 0.0, 5.0]])
    facing = np.array([[0.0, 0.0, 1.0]])
    scale = SagScale.up_to(1.0, 0.1, SAGS)
    shades = []
    for value in (np.nan, 0.5):
        colouring = Colouring(top, facing, 1.0, np.array([value]), scale.bounds, scale.colours)
        pixels = np.asarray(draw(stage, camera, colouring).image)
        # A patch inside the top face.
        column, row = camera.pixels(top)[0].astype(int)
        shades.append(np.unique(pixels[row - 8 : row + 8, column - 12 : column + 12, 0]))
    assert len(shades[0]) >= 2
    assert np.ptp(shades[0].astype(int)) > 30
    assert len(shades[1]) == 1


@pytest.fixture(scope="module")
def ways() -> tuple[WayLook, ...]:
    settings = SagSettings(max_unknowns=2000)
    return weigh_ways(part_from_mesh(table()), ROW, Printer.from_nozzle(0.6), settings)


def test_each_way_up_is_drawn_with_what_nothing_holds(ways: tuple[WayLook, ...]) -> None:
    """The board's underside is painted where it hangs, and not where both feet hold it."""
    held = next(look for look in ways if look.way.name == "z")  # a span, held on both sides
    pictures, swatches = way_pictures(table(), (held, hanging(held)), 0.1)
    assert swatches[-1].text == "nothing holds it while it is printed"
    painted = [_share(below.uri, tuple(UNHELD)) for _, below in pictures]
    assert painted[0] == 0.0
    assert painted[1] > 0.02


def hanging(look: WayLook) -> WayLook:
    """The same way up, as if nothing held what lies below the board."""
    low, high = (tuple(map(float, corner)) for corner in look.green.mesh.bounds)
    box = ((low[0], low[1], 1.0), (high[0], high[1], high[2]))
    below = PrintFinding(PrintKind.UNHELD_UNDERSIDE, 5.0, 1.0, (0.0, 0.0, 7.0), box, 90.0)
    return replace(look, found=(below,))


def test_factors_go_with_the_way_up(ways: tuple[WayLook, ...]) -> None:
    x, y, z = (ROW.along(axis).factor for axis in AXES)
    assert z > 1.01 * x
    by_name = {look.way.name: look.oversize for look in ways}
    assert by_name["z"] == pytest.approx((x, y, z))
    assert by_name["-x"][0] == pytest.approx(z)
    assert by_name["y"][1] == pytest.approx(z)
    assert sorted(by_name["y"])[-1] == pytest.approx(z)


def _share(uri: str, colour: tuple[float, ...]) -> float:
    """Share of a picture's pixels that have a colour's hue."""
    image = Image.open(io.BytesIO(base64.b64decode(uri.partition(",")[2])))
    pixels = np.asarray(image).astype(float)
    bright = pixels.sum(axis=2) / (255.0 * sum(colour))
    there = np.abs(pixels / 255.0 - bright[..., None] * np.array(colour)).max(axis=2) < 0.03
    return float(there.mean())
