"""Small parts, rows and printers that the approved jobs share."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
import trimesh

from shrinkrule import CalibrationRow, Part, Printer, demo_table, part_from_mesh, read_part

PARTS: Final = Path(__file__).parent / "parts"
SHEETS: Final = Path(__file__).parents[2] / "sample_models" / "sheets"
PRINTER: Final = Printer.from_nozzle(0.6)
FINE: Final = Printer.from_nozzle(0.4, layer_height_mm=0.15)


@cache
def part(name: str) -> Part:
    """A part by name."""
    return read_part(PARTS / f"{name}.stl")


def mesh(name: str) -> trimesh.Trimesh:
    """Mesh of a part by name, a copy."""
    made: trimesh.Trimesh = part(name).mesh.copy()
    return made


def turned(name: str, about: tuple[float, float, float], degrees: float) -> Part:
    """A part turned about an axis through the origin."""
    made = mesh(name)
    made.apply_transform(trimesh.transformations.rotation_matrix(np.radians(degrees), about))
    return part_from_mesh(made)


def opened(name: str, lost: int) -> trimesh.Trimesh:
    """A part without some of its facets."""
    made = mesh(name)
    kept = np.arange(len(made.faces)) % lost != 1
    return trimesh.Trimesh(made.vertices, made.faces[kept], process=False)


def crossed() -> trimesh.Trimesh:
    """Two bars that pass through each other, and a third that faces inward."""
    one, other, third = (trimesh.creation.box(size) for size in ((9, 2, 3), (2, 8, 2.5), (3, 3, 3)))
    other.apply_translation((1.0, 0.5, 0.25))
    third.apply_translation((9.0, 0.0, 0.0))
    third.invert()
    made: trimesh.Trimesh = trimesh.util.concatenate([one, other, third])
    return made


def row(number: int = 1) -> CalibrationRow:
    """A row of the demo table."""
    return demo_table()[number]


def soft_row(times: float = 1.0) -> CalibrationRow:
    """The demo row with another sag modulus, and X and Y that shrink apart."""
    known = row()
    assert known.sag_modulus_kpa is not None
    return replace(known, sag_modulus_kpa=known.sag_modulus_kpa.times(times))
