"""Pictures of a green part with its wall thickness in colour, a legend in mm, and marks."""

from __future__ import annotations

import base64
import io
import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from shrinkrule.job import Place, WallLook
from shrinkrule.report.picture import VIEWS, Camera, Colouring, draw

WIDTH: Final = 620
HEIGHT: Final = 460
MOST_MARKS: Final = 12

# Distinguishable to colour-blind readers, and in grey print the limits still step.
TOO_THIN: Final = (0.80, 0.20, 0.10)
ONE_BEAD: Final = (0.96, 0.70, 0.24)
SOUND: Final = ((0.80, 0.90, 0.88), (0.58, 0.78, 0.78), (0.36, 0.62, 0.66))
THICK: Final = (0.33, 0.20, 0.46)


@dataclass(frozen=True)
class Swatch:
    """One entry of the legend: a CSS colour and what it stands for."""

    colour: str
    text: str


@dataclass(frozen=True)
class Picture:
    """A picture as a data URI, and the side it is seen from."""

    uri: str
    caption: str


def thickness_colouring(look: WallLook, exist: float, sound: float, thick: float) -> Colouring:
    """Colours for the thickness of every sample.

    Parameters
    ----------
    look : WallLook
        Whose samples to colour.
    exist, sound, thick : float
        Limits in mm of the green part.
    """
    samples = look.report.samples
    between = np.linspace(sound, max(thick, 1.5 * sound), 4)
    bounds = np.array([exist, *between])
    colours = np.array([TOO_THIN, ONE_BEAD, *SOUND, THICK])
    return Colouring(samples.points, samples.thickness, bounds, colours)


def legend(colouring: Colouring) -> tuple[Swatch, ...]:
    """Legend of a colouring, in mm of the green part."""
    edges = colouring.bounds
    names = [
        f"under {edges[0]:.2f} mm: does not print",
        f"{edges[0]:.2f} to {edges[1]:.2f} mm: a single bead",
        *(f"{low:.2f} to {high:.2f} mm" for low, high in itertools.pairwise(edges[1:])),
        f"over {edges[-1]:.1f} mm: thick, slow to debind",
    ]
    swatches = [
        Swatch(_css(colour), name) for colour, name in zip(colouring.colours, names, strict=True)
    ]
    return (*swatches, Swatch(_css((0.72, 0.72, 0.72)), "not measured"))


def wall_pictures(look: WallLook, colouring: Colouring) -> tuple[Picture, ...]:
    """Pictures of the green part from every view, with places marked by their number."""
    vertices = np.asarray(look.green.mesh.vertices, dtype=np.float64)
    pictures = []
    for caption, eye in VIEWS.items():
        camera = Camera.looking_at(vertices, eye, WIDTH, HEIGHT)
        image = draw(look.green.mesh, camera, colouring)
        _mark(image, camera, look.places[:MOST_MARKS])
        _scale_bar(image, camera)
        pictures.append(Picture(_data_uri(image), f"seen {caption}"))
    return tuple(pictures)


def _mark(image: Image.Image, camera: Camera, places: tuple[Place, ...]) -> None:
    pen = ImageDraw.Draw(image)
    font = ImageFont.load_default(15)
    middle = np.array([camera.width / 2, camera.height / 2])
    taken: list[np.ndarray[tuple[int, ...], np.dtype[np.float64]]] = []
    for number, place in enumerate(places, start=1):
        at = camera.pixels(np.asarray(place.finding.position)[None])[0]
        away = at - middle
        away = away / max(float(np.linalg.norm(away)), 1e-9) if np.any(away) else np.array([0, -1])
        # Labels step outward along their line until they are clear of earlier ones.
        label = at + 34 * away
        while any(np.linalg.norm(label - other) < 24 for other in taken):
            label = label + 12 * away
        label = np.clip(label, 14, np.array([camera.width - 14, camera.height - 14]))
        taken.append(label)
        pen.line([tuple(at), tuple(label)], fill=(30, 30, 30), width=2)
        pen.ellipse([*(at - 4), *(at + 4)], outline=(30, 30, 30), width=2)
        pen.ellipse([*(label - 12), *(label + 12)], fill=(255, 255, 255), outline=(30, 30, 30))
        pen.text(tuple(label), str(number), font=font, fill=(20, 20, 20), anchor="mm")


def _scale_bar(image: Image.Image, camera: Camera) -> None:
    """Draw a bar of a round length, about a fifth of the picture."""
    reach = 0.2 * camera.width * camera.mm_per_pixel
    decade = 10.0 ** np.floor(np.log10(reach))
    length = max(step for step in (1, 2, 5) if step * decade <= reach) * decade
    pen = ImageDraw.Draw(image)
    left, low = 16, camera.height - 16
    right = left + length / camera.mm_per_pixel
    pen.line([(left, low), (right, low)], fill=(30, 30, 30), width=3)
    font = ImageFont.load_default(14)
    pen.text(
        ((left + right) / 2, low - 4), f"{length:g} mm", font=font, fill=(30, 30, 30), anchor="mb"
    )


def _data_uri(image: Image.Image) -> str:
    stream = io.BytesIO()
    image.save(stream, "PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def _css(colour: tuple[float, ...] | np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> str:
    return "#" + "".join(f"{round(255 * float(channel)):02x}" for channel in colour)
