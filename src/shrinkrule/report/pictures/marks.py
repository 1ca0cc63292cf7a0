"""Marks on pictures: which places to show, and rings with the label of the row for each."""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import ImageDraw, ImageFont

from shrinkrule.job import WallLook
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printing import PrintFinding
from shrinkrule.report.pictures.scene import BACKGROUND, Drawing

MOST_MARKS: Final = 12
MOST_ALIKE: Final = 40
LETTERS: Final = string.ascii_lowercase
INK: Final = (30, 30, 30)


@dataclass(frozen=True)
class Mark:
    """A place to show in a picture.

    Parameters
    ----------
    label : str
        Of the row that tells of it.
    point : (3,) float64
        Where it is, print frame, mm.
    box : (2, 3) float64
        How far it reaches there.
    skin_mm : float
        How far under the surface it may lie and be seen.
    across : (3,) float64
        A direction that a cut through it should show.
    """

    label: str
    point: Floats
    box: Floats
    skin_mm: float
    across: Floats

    @property
    def width_mm(self) -> float:
        """Longest side of its box."""
        return float(np.ptp(self.box, axis=0).max())


def wall_marks(look: WallLook) -> list[Mark]:
    """Marks of the first rows of the wall check, by their numbers.

    Parameters
    ----------
    look : WallLook
        The wall check.

    Returns
    -------
    list of Mark
        Those of the first rows.
    """
    return [
        Mark(
            str(number),
            np.array(place.finding.position),
            np.array(place.finding.box),
            # A place lies in the middle of its wall, half a thickness under the surface.
            0.75 * place.finding.smallest_mm + 0.5,
            np.array(place.finding.direction),
        )
        for number, row in enumerate(look.rows[:MOST_MARKS], start=1)
        for place in row.places[:MOST_ALIKE]
    ]


def print_marks(rows: Sequence[Sequence[PrintFinding]]) -> list[Mark]:
    """Marks of what prints badly, its first rows by the letters a, b, c.

    Parameters
    ----------
    rows : sequence of sequence of PrintFinding
        Places that read alike together.

    Returns
    -------
    list of Mark
        Those of the first rows; a cut through one shows its height.
    """
    return [
        Mark(label, np.array(found.position), np.array(found.box), 0.5, np.array([0.0, 0.0, 1.0]))
        for label, row in zip(LETTERS[:MOST_MARKS], rows, strict=False)
        for found in row[:MOST_ALIKE]
    ]


def mark_places(drawing: Drawing, marks: list[tuple[str, Floats]]) -> None:
    """Put a ring about each place, and the label of its row beside the first of each row.

    Parameters
    ----------
    drawing : Drawing
        Is drawn upon.
    marks : list of (str, (3,) float64)
        Label of the row, and where.
    """
    pen, camera = ImageDraw.Draw(drawing.image), drawing.camera
    size = np.array([camera.width, camera.height], dtype=np.float64)
    taken: list[Floats] = []
    labelled: set[str] = set()
    for name, spot in marks:
        at = camera.pixels(spot[None])[0]
        pen.ellipse([*(at - 4), *(at + 4)], outline=INK, width=2)
        if name in labelled:
            continue
        labelled.add(name)
        label = clear_of(taken, at, size)
        taken.append(label)
        pen.line([tuple(at), tuple(label)], fill=INK, width=2)
        number_at(pen, label, name)


def number_at(pen: ImageDraw.ImageDraw, label: Floats, number: int | str) -> None:
    """Draw a number or a letter in a ring.

    Parameters
    ----------
    pen : ImageDraw
        Draws upon the picture.
    label : (2,) float64
        Middle of the ring, pixels.
    number : int or str
        The number.
    """
    pen.ellipse([*(label - 12), *(label + 12)], fill=BACKGROUND, outline=INK)
    font = ImageFont.load_default(15)
    pen.text(tuple(label), str(number), font=font, fill=INK, anchor="mm")


def clear_of(taken: list[Floats], at: Floats, size: Floats) -> Floats:
    """Place for a label near a point, clear of earlier labels and inside the picture.

    Parameters
    ----------
    taken : list of (2,) float64
        Earlier labels, pixels.
    at : (2,) float64
        The point, pixels.
    size : (2,) float64
        Of the picture, pixels.

    Returns
    -------
    (2,) float64
        Middle of the label, pixels.
    """
    turns = np.radians(np.arange(0, 360, 30))
    outward = np.arctan2(*(at - size / 2)[::-1])
    for distance in (34, 54, 74, 94):
        ring = at + distance * np.column_stack(
            [np.cos(outward + _fan(turns)), np.sin(outward + _fan(turns))]
        )
        for label in ring:
            inside = bool(((label > 14) & (label < size - 14)).all())
            if inside and all(np.linalg.norm(label - other) > 26 for other in taken):
                return np.asarray(label, dtype=np.float64)
    return np.asarray(np.clip(at, 14, size - 14), dtype=np.float64)


def _fan(turns: Floats) -> Floats:
    """Angles in the order in which they leave the outward direction: 0, +1, -1, +2, ..."""
    step = np.arange(len(turns))
    side = np.where(step % 2 == 0, -1.0, 1.0)
    return np.asarray(side * ((step + 1) // 2) * (turns[1] - turns[0]), dtype=np.float64)
