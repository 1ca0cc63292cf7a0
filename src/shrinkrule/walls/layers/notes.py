"""Notes on what the layers left out or cannot trust: why, and a hint, in one sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Ints
from shrinkrule.units import percent, plain
from shrinkrule.walls.layers.floors import Floors
from shrinkrule.walls.layers.shell import Shell
from shrinkrule.walls.layers.stack import Stack

MAX_PIECES: Final = 20_000
"""Lost pieces kept; a part with more is thin all over and the rest adds nothing."""

COARSE: Final = 4
"""With this many layers per cut low places may be missed, which the note then says."""

UNDECIDED: Final = 1.0e-3
"""Share of the plan in which floors were not measured, from which on a note says so."""


def doubts_of(shell: Shell, stack: Stack) -> list[str]:
    """Write notes on what cannot be trusted because of the surface.

    Parameters
    ----------
    shell : Shell
        The surface.
    stack : Stack
        Its layers, cut.

    Returns
    -------
    list of str
        One sentence each; empty for a sound surface.
    """
    said = list(shell.doubts)
    depth = stack.depths(np.arange(len(stack.layers)))
    too_open = [k for k, layer in enumerate(stack.layers) if not layer.usable]
    if too_open:
        said.append(
            f"{len(too_open)} of {len(stack.layers)} layers ({_span(stack, too_open)}) were not "
            "looked at: their outlines have too many gaps; close the surface in the modelling "
            "program"
        )
    twice = np.array([layer.twice_mm2 for layer in stack.layers])
    if twice.any():
        said.append(
            f"bodies or faces cross each other ({_span(stack, np.flatnonzero(twice))}, "
            f"{_volume_words(float((twice * depth).sum()))} counted twice): layers treat them "
            "as one body, thickness and volume do not; unite them in the modelling program"
        )
    inside_out = np.array([layer.inside_out_mm2 for layer in stack.layers])
    if inside_out.any():
        said.append(
            f"a part of the surface is inside out ({_span(stack, np.flatnonzero(inside_out))}, "
            f"{_volume_words(float((inside_out * depth).sum()))}): layers leave it out; turn it in "
            "the modelling program"
        )
    if stack.layers and not any(layer.section.area() > 0.0 for layer in stack.layers):
        said.append("no layer shows any material: the surface encloses nothing")
    return said


def _span(stack: Stack, layers: Sequence[int] | Ints) -> str:
    low, high = stack.heights[layers[0]] - stack.low[2], stack.heights[layers[-1]] - stack.low[2]
    return f"{low:.2f} to {high:.2f} mm above the bed"


def _volume_words(volume_mm3: float) -> str:
    return f"about {plain(volume_mm3)} mm3"


def limits_of_sight(
    stack: Stack, rough: Sequence[int], floors: Floors, complete: bool, bead_mm: float
) -> list[str]:
    """Write notes on what was left out because of the part's size or shape.

    Parameters
    ----------
    stack : Stack
        The layers, cut.
    rough : sequence of int
        Layers that are too rough.
    floors : Floors
        The thin floors.
    complete : bool
        Whether all layers were looked at.
    bead_mm : float
        Bead width.

    Returns
    -------
    list of str
        One sentence each.
    """
    said = []
    if rough:
        said.append(
            f"{len(rough)} of {len(stack.layers)} layers ({_span(stack, rough)}) were not looked "
            "at: their surface is rougher than a bead is wide; smooth the model"
        )
    if not stack.layers:
        said.append("the part is lower than half a layer: no layer of it would be printed")
    if stack.every > 1:
        said.append(
            f"the part is too tall, or its surface too rough, for every layer: one layer in "
            f"{stack.every} was cut (every {stack.step_mm:.3g} mm)"
            + (
                ", so walls and gaps lower than that may be missed; check the unit and the size"
                if stack.every >= COARSE
                else ""
            )
        )
    if floors.cell_mm > bead_mm / 2.0:
        said.append(
            f"the part is so large that floors were measured every {floors.cell_mm:.3g} mm only: "
            "narrower ones may be missed; check the unit and the size"
        )
    if floors.undecided > UNDECIDED:
        said.append(
            f"floors could not be measured over {percent(floors.undecided)} of the plan: the "
            "surface is open above or below; close it in the modelling program"
        )
    if not complete:
        said.append(
            f"more than {MAX_PIECES} thin pieces: the upper layers were not looked at; "
            "the part is thin all over, or its surface is rougher than a bead"
        )
    return said
