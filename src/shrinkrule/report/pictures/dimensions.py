"""Stills of a part with its dimensions on it: a line from end to end, and the number of each.

Each is drawn once, on the view that shows it longest and with the least before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import ImageDraw

from shrinkrule.dimensions import Kind, Numbered
from shrinkrule.dimensions.recognition.planes import across
from shrinkrule.numerics.arrays import Floats, box_of
from shrinkrule.report.pictures.camera import VIEWS, Camera
from shrinkrule.report.pictures.marks import INK, clear_of, number_at
from shrinkrule.report.pictures.scene import BACKGROUND, Drawing, Stage, draw_all
from shrinkrule.report.pictures.walls import (
    HEIGHT,
    WIDTH,
    Picture,
    data_uri,
    scale_bar,
)

BAR: Final = 6.0
"""Half length of the bar at each end of a line, pixels."""

HIDDEN: Final = 0.4
"""What counts of the length of a line that something lies before."""

PREFERRED: Final = 1.25
"""How much longer a line must be in a later view, so that few pictures hold all."""

MOVES: Final = 40
"""Places along each way that a line is moved, over the part's longest side."""

FARTHER: Final = 2.0
"""What a move of the part's longest side costs, over seeing all of a line."""


@dataclass(frozen=True)
class Stills:
    """Pictures with the dimensions on them.

    Parameters
    ----------
    pictures : tuple of Picture
        One for each view that shows any.
    lines : tuple of (int, (2, 3) float64)
        Number and ends of each line where it was drawn, in the model's axes, mm.
    """

    pictures: tuple[Picture, ...] = ()
    lines: tuple[tuple[int, Floats], ...] = ()


def dimension_stills(
    stage: Stage, dozen: Sequence[Numbered], to_mesh: Floats, drawn: Sequence[Drawing] = ()
) -> Stills:
    """Draw a part with numbered dimensions.

    A line that metal hides is moved square to itself until it shows, as on a drawing; that of a
    round along its axis.

    Parameters
    ----------
    stage : Stage
        The part as it is drawn, mm.
    dozen : sequence of Numbered
        What is drawn on it, in the model's axes.
    to_mesh : (4, 4) float64
        From the model's axes to those of the stage.
    drawn : sequence of Drawing
        Pictures of the stage that there are already; their grey ones serve where they show the
        same.

    Returns
    -------
    Stills
        The pictures, and the lines.
    """
    if not dozen:
        return Stills()
    turn, shift = to_mesh[:3, :3], to_mesh[:3, 3]
    ends = np.stack([one.ends for one in dozen])
    on_mesh = ends.reshape(-1, 3) @ turn.T + shift
    drawings = _plain(stage, on_mesh, drawn)
    box = np.stack(box_of(stage.points))
    placed = [_placed(drawings, box, one, turn, shift) for one in dozen]
    pictures: list[Picture] = []
    for number, (side, drawing) in enumerate(zip(VIEWS, drawings, strict=True)):
        mine = [k for k, (view, _) in enumerate(placed) if view == number]
        if not mine:
            continue
        numbers = tuple(dozen[k].number for k in mine)
        both = np.stack([[ends[k], placed[k][1]] for k in mine]) @ turn.T + shift
        _draw_lines(drawing, both[:, 1], both[:, 0], numbers)
        scale_bar(drawing.image, drawing.camera)
        letter = "DEF"[len(pictures)]
        pictures.append(
            Picture(data_uri(drawing.image), f"seen {side}", tuple(map(str, numbers)), letter)
        )
    lines = tuple((one.number, line) for one, (_, line) in zip(dozen, placed, strict=True))
    return Stills(tuple(pictures), lines)


def _plain(stage: Stage, ends: Floats, drawn: Sequence[Drawing]) -> list[Drawing]:
    """The grey picture from each side: one that there is if all ends (n, 3) lie in it, or a new."""
    there = {
        eye: Drawing(one.plain.copy(), one.camera, one.depth_mm)
        for eye in VIEWS.values()
        for one in drawn
        if one.plain is not None and one.camera.looks_from(eye) and _inside(one.camera, ends)
    }
    points = np.concatenate([stage.points, ends])
    missing = [eye for eye in VIEWS.values() if eye not in there]
    cameras = [Camera.looking_at(points, eye, WIDTH, HEIGHT) for eye in missing]
    there.update(zip(missing, draw_all(stage, cameras, None), strict=True))
    return [there[eye] for eye in VIEWS.values()]


def _inside(camera: Camera, points: Floats) -> bool:
    """Whether all points (n, 3) lie in the picture, with their bars."""
    at, size = camera.pixels(points), np.array([camera.width, camera.height])
    return bool(((at > BAR) & (at < size - BAR)).all())


def _placed(
    drawings: list[Drawing],
    box: Floats,
    one: Numbered,
    turn: Floats,
    shift: Floats,
) -> tuple[int, Floats]:
    """View that shows a line best, and its ends there, (2, 3) in the model's axes."""
    span = drawings[0].camera.mm_per_pixel * WIDTH
    lines = one.ends[None] + _moves(one, span)[:, None]
    there = lines @ turn.T + shift
    skin = 4.0 * drawings[0].camera.mm_per_pixel
    outside = ((there < box[0] - skin) | (there > box[1] + skin)).any(axis=(1, 2))
    cost = FARTHER * np.linalg.norm(lines[:, 0] - one.ends[0], axis=1) / span + 1.0 * outside
    share = np.linspace(0.0, 1.0, 5)[:, None, None, None]
    along = ((1.0 - share) * there[None, :, :1] + share * there[None, :, 1:])[:, :, 0]
    worth, best = [], []
    for drawing in drawings:
        behind = drawing.depth_behind(along.reshape(-1, 3))
        seen = (behind <= 4.0 * drawing.camera.mm_per_pixel).reshape(5, -1).mean(axis=0)
        k = int(np.argmax(seen - cost))
        low, high = drawing.camera.pixels(there[k])
        worth.append(np.linalg.norm(high - low) * (HIDDEN + (1.0 - HIDDEN) * (seen - cost)[k]))
        best.append(k)
    worth[0] *= PREFERRED
    view = int(np.argmax(worth))
    return view, lines[best[view]]


def _moves(one: Numbered, span: float) -> Floats:
    """Ways (k, 3) that a line may be moved and still be that dimension, mm; none comes first."""
    kind, way = one.dimension.kind, np.array(one.dimension.direction)
    if kind is Kind.OVERALL:
        return np.zeros((1, 3))
    ways = way[None] if one.dimension.is_round else across(way)
    steps = np.concatenate([[0.0], *((k, -k) for k in span / MOVES * np.arange(1, MOVES + 1))])
    moves: Floats = (steps[:, None, None] * ways).reshape(-1, 3)
    return moves


def _draw_lines(drawing: Drawing, ends: Floats, origins: Floats, numbers: Sequence[int]) -> None:
    """Draw lines (n, 2, 3) with a bar at both ends, their numbers, and from where they come."""
    pen, camera = ImageDraw.Draw(drawing.image), drawing.camera
    size = np.array([camera.width, camera.height], dtype=np.float64)
    for moved, origin in zip(ends.reshape(-1, 3), origins.reshape(-1, 3), strict=True):
        pen.line([tuple(p) for p in camera.pixels(np.stack([origin, moved]))], fill=INK, width=1)
    lines = np.stack([camera.pixels(ends[:, k]) for k in range(2)], axis=1)
    for colour, width in ((BACKGROUND, 5), (INK, 2)):
        for low, high in lines:
            way = (high - low) / max(float(np.linalg.norm(high - low)), 1e-9)
            bar = BAR * np.array([-way[1], way[0]])
            pen.line([tuple(low), tuple(high)], fill=colour, width=width)
            for end in (low, high):
                pen.line([tuple(end - bar), tuple(end + bar)], fill=colour, width=width)
    # Labels keep clear of the lines' middles too.
    taken = list(lines.mean(axis=1))
    for (low, high), number in zip(lines, numbers, strict=True):
        middle = 0.5 * (low + high)
        label = clear_of(taken, middle, size)
        taken.append(label)
        pen.line([tuple(middle), tuple(label)], fill=INK, width=1)
        number_at(pen, label, number)
