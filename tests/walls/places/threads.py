"""Screw threads: flanks of 50 to 75 degrees that print, and sharp ones that do not."""

from __future__ import annotations

import math

import numpy as np
import trimesh

from .edges import SHARP, beside
from .part import FloatArray
from .rims import knife_place
from .setting import Draft, Setting
from .solids import finished, grid_faces, outward, solid_of


def thread(setting: Setting) -> Draft:
    """Outer thread whose crests run out at both ends."""
    setting.tumble()
    angle = setting.between(50, 75) if setting.sound else setting.between(20, SHARP - 1)
    half = math.radians(angle) / 2
    # Ridges are deep enough for a bead to fit into their foot.
    deep = (
        setting.between(0.7, 1.6)
        if setting.sound
        else setting.between(1.4, 2.0) * (setting.bead / 2 / math.tan(half) + setting.bead / 2)
    )
    ridge = 2 * deep * math.tan(half)
    root = setting.between(0.2, 0.6) * ridge + (0 if setting.sound else 1.2 * setting.bead)
    core = max(setting.between(3, 8), 2.5 * setting.bead, deep)
    pitch = ridge + root
    turns = setting.whole(3, 6)
    around = setting.whole(24, 40) if not setting.fine else setting.whole(64, 110)
    mesh, crest = _screw(core, deep, ridge, pitch, turns, around)
    whole = solid_of(mesh)
    low, high = pitch, pitch * (turns + 2)
    whole = whole.trim_by_plane((0, 0, 1), low).trim_by_plane((0, 0, -1), -high)
    mesh = finished(whole)
    description = f"thread of {angle:.0f} degrees, {deep:.2f} deep, pitch {pitch:.2f}"
    if setting.sound:
        return setting.draft(mesh, (), (), description)
    place = knife_place(setting, angle, crest, np.array([[0.0, 0, 1.0], [1.0, 0, 0]]))
    unjudged = type(place)(place.kinds, 0.0, math.inf, place.at, None, 1, "look", None)
    return setting.draft(mesh, (unjudged,), beside(angle), description)


def _screw(
    core: float, deep: float, ridge: float, pitch: float, turns: int, around: int
) -> tuple[trimesh.Trimesh, FloatArray]:
    """Closed screw, longer by a smooth turn at both ends, and points along its full crest."""
    steps = np.array([0.0, (pitch - ridge) / 2, pitch / 2, (pitch + ridge) / 2])
    rises = np.array([0.0, 0.0, deep, 0.0])
    count = turns + 4
    # A column for each angle; one row further after a full turn is the same point.
    rows = np.add.outer(np.arange(count) * pitch, steps).ravel() - pitch
    lifted = np.tile(rises, count)
    turn = np.arange(around + 1) / around
    height = rows[:, None] + pitch * turn[None]
    low, high = 2 * pitch, pitch * (turns + 1)
    fade = np.clip(np.minimum(height - low, high - height) / (0.6 * pitch) + 0.0, 0.0, 1.0)
    radius = core + lifted[:, None] * fade
    angle = 2 * math.pi * turn[None]
    points = np.stack((radius * np.cos(angle), radius * np.sin(angle), height), axis=-1)
    full = (fade >= 1.0) & (lifted[:, None] > 0)
    crest = points[full]
    # The last column is the first one, four rows on.
    total, wide = len(rows), around + 1
    number = np.arange(total * wide).reshape(total, wide)
    number[:-4, -1] = number[4:, 0]
    faces = number.ravel()[grid_faces(total, wide)]
    vertices = points.reshape(-1, 3)
    # Close the ragged ends with fans: their rims are the edges without a partner.
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    codes = edges[:, 0] * len(vertices) + edges[:, 1]
    rim = edges[~np.isin(codes, edges[:, 1] * len(vertices) + edges[:, 0])]
    upper = vertices[rim].mean(axis=1)[:, 2] > vertices[:, 2].mean()
    centres = np.array([[0, 0, vertices[:, 2].min()], [0, 0, vertices[:, 2].max()]])
    hubs = len(vertices) + upper.astype(np.int64)
    faces = np.vstack((faces, np.column_stack((rim[:, ::-1], hubs))))
    mesh = trimesh.Trimesh(np.vstack((vertices, centres)), faces, process=False)
    mesh.remove_unreferenced_vertices()
    return outward(mesh), crest
