"""Seeded parts: with planted thin places, and sound ones."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import trimesh

from . import bores, edges, gyroids, letters, nets, rims, sheets, sound, threads, wires
from .part import THIN_FLOOR, Expected, FloatArray, PlacedPart
from .setting import Draft, Setting

Family = Callable[[Setting], Draft]

PLANTED: dict[str, Family] = {
    "fin on block": rims.fin_on_block,
    "pins on block": wires.pins_on_block,
    "wedge": edges.wedge,
    "cup": rims.cup,
    "straight wire": wires.straight_wire,
    "plate": rims.plate,
    "lattice": nets.lattice,
    "dovetail": edges.dovetail,
    "row of vanes": rims.vanes,
    "struts": wires.struts,
    "cone": edges.cone,
    "disc spring": rims.disc_spring,
    "ring": wires.ring,
    "thread": threads.thread,
    "spring": wires.spring,
    "net": nets.net,
    "strip": wires.strip,
    "corrugation": sheets.corrugation,
    "drilled shaft": bores.drilled_shaft,
    "tube": sheets.tube,
    "raised text": letters.raised_text,
    "sphere shell": sheets.sphere_shell,
    "bore near a flat": bores.bore_near_flat,
    "wavy sheet": sheets.wavy_sheet,
    "periodic sheet": gyroids.periodic_sheet,
    "webs": bores.webs,
    "twisted fin": sheets.twisted_fin,
    "cavities": bores.cavities,
    "tapered fin": sheets.tapered_fin,
    "crossing bores": bores.crossing_bores,
    "plate between blocks": sheets.leaned_sheet,
    "ring of bores": bores.radial_bores,
}

SOUND: dict[str, Family] = {
    **PLANTED,
    "pyramid": edges.pyramid,
    "chamfered block": edges.chamfered,
    "engraved text": letters.engraved_text,
    "plain block": sound.plain_block,
    "gear": sound.gear,
    "bracket": sound.bracket,
    "plate with bosses": sound.boss_plate,
    "stairs": sound.stairs,
    "ellipsoid": sound.rounded_solid,
    "balls run together": sound.blended,
    "warped block": sound.warped_block,
    "stepped shaft": sound.stepped_shaft,
}

_PLANTED_STREAM, _SOUND_STREAM = 1010, 2020
_TRIES = 60


def planted_part(seed: int) -> PlacedPart:
    """Part with thin places, by its number."""
    return _part(seed, PLANTED, _PLANTED_STREAM, sound=False)


def sound_part(seed: int) -> PlacedPart:
    """Part with nothing thin, by its number."""
    return _part(seed, SOUND, _SOUND_STREAM, sound=True)


def _part(seed: int, families: dict[str, Family], stream: int, sound: bool) -> PlacedPart:
    names = list(families)
    family = names[seed % len(names)]
    rng = np.random.default_rng([stream, seed])
    for _ in range(_TRIES):
        setting = _setting(rng, sound)
        draft = families[family](setting)
        if _fit(draft, setting):
            return _placed(seed, family, draft, setting)
    raise RuntimeError(f"no fit part of {family!r} for seed {seed}")


def _fit(draft: Draft, setting: Setting) -> bool:
    """Whether a part is a closed solid of fair size, with no value too near to a limit."""
    mesh = draft.mesh
    if not 12 <= len(mesh.faces) <= 60_000 or float(mesh.extents.max()) > 110:
        return False
    if not mesh.is_watertight or not mesh.is_winding_consistent or mesh.volume <= 0:
        return False
    if bool(draft.expected) == setting.sound:
        return False
    limits = np.array([setting.bead, 2 * setting.bead, setting.floor])
    for place in draft.expected:
        if place.least_mm > 0 and math.isfinite(place.tolerance_mm):
            room = 0.01 * limits + max(0.0, place.tolerance_mm - 0.005 * place.least_mm)
            which = [0, 1, 2] if THIN_FLOOR in place.kinds else [0, 1]
            if (np.abs(place.least_mm - limits) < room)[which].any():
                return False
    return True


def _placed(seed: int, family: str, draft: Draft, setting: Setting) -> PlacedPart:
    """Turn a part as drawn and move it somewhere."""
    turn = draft.turn
    turned = draft.mesh.vertices @ turn.T
    shift = setting.rng.uniform(-40, 40, 3) - (turned.min(axis=0) + turned.max(axis=0)) / 2
    return PlacedPart(
        seed=seed,
        family=family,
        mesh=trimesh.Trimesh(turned + shift, draft.mesh.faces, process=False),
        nozzle_mm=setting.nozzle,
        layer_mm=setting.layer,
        bead_mm=setting.bead,
        expected=tuple(_moved(place, turn, shift) for place in draft.expected),
        allowed=draft.allowed,
        description=draft.description,
    )


def _setting(rng: np.random.Generator, sound: bool) -> Setting:
    nozzle = float(rng.choice([0.4, 0.5, 0.6, 0.6, 0.8]))
    share = 0.5 if rng.random() < 0.8 else float(rng.choice([0.4, 0.6]))
    fine = bool(rng.random() < 0.5)
    return Setting(rng, nozzle, share * nozzle, sound, fine)


def _moved(place: Expected, turn: FloatArray, shift: FloatArray) -> Expected:
    return replace(place, at=place.at @ turn.T + shift)
