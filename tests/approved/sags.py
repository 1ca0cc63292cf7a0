"""Approved: sag of small parts on coarse bricks, pre-curved shapes and ways up."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import trimesh

from approved.small import PRINTER, mesh, part, soft_row, turned
from shrinkrule import BoxFurnace, SagSettings, precurve, rank_ways_up, sag_material, solve_sag
from shrinkrule.job import weigh_ways
from shrinkrule.sag import estimate_sag
from shrinkrule.sag.settings import SupportBox

COARSE: Final = {"max_unknowns": 5_000, "bricks_wanted": 2.0, "sure_share": 0.5, "max_seconds": 3.0}


def settings(**stated: Any) -> SagSettings:
    """Settings for a coarse solve."""
    return SagSettings(**{**COARSE, **stated})


def _sag(made: trimesh.Trimesh, modulus: float = 3.0, **stated: Any) -> Any:
    return solve_sag(made, sag_material(soft_row(modulus)), settings(**stated))


def _beside() -> Any:
    """Two bridges a fifth of a millimetre apart, one higher than the other."""
    one, other = mesh("bridge"), mesh("bridge")
    other.apply_scale((1.0, 1.0, 0.9))
    other.apply_translation((3.0, 12.2, 0.0))
    return _sag(trimesh.util.concatenate([one, other]), max_unknowns=8_000)


def _precurved(made: trimesh.Trimesh, modulus: float, **stated: Any) -> Any:
    made_curved = precurve(made, sag_material(soft_row(modulus)), settings(**stated))
    return {
        "result": made_curved,
        "remaining": made_curved.remaining,
        "unsure": made_curved.unsure_mm,
        "most at": made_curved.moves_most_at,
    }


def _ways() -> Any:
    return weigh_ways(
        part("bridge"), soft_row(2.0), PRINTER, settings(), BoxFurnace(40.0, 30.0, 20.0)
    )


def _ranked(name: str) -> Any:
    return rank_ways_up(mesh(name), sag_material(soft_row()), settings(), unknowns=3000)


JOBS: Final[dict[str, Callable[[], Any]]] = {
    "sag bridge": lambda: _sag(mesh("bridge")),
    "sag bridge held": lambda: _sag(
        mesh("bridge"), friction="drag", supports=(SupportBox((8, 7, 5), (18, 13, 8)),)
    ),
    "sag bridge leaning": lambda: _sag(
        mesh("bridge"), furnace_up=(0.0, 1.0, 0.0), supports=(SupportBox((0, -1, 0), (30, 1, 9)),)
    ),
    "sag bracket on its side": lambda: _sag(mesh("bracket"), 0.5, furnace_up=(1.0, 0.0, 0.0)),
    "sag turned": lambda: _sag(turned("bridge", (0, 0, 1), 30).mesh, brick_mm=1.1),
    "sag of bodies beside": _beside,
    "sag estimate": lambda: estimate_sag(mesh("bridge"), sag_material(soft_row()), settings()),
    "precurve bridge": lambda: _precurved(mesh("bridge"), 6.0, max_rounds=2),
    "precurve flat": lambda: _precurved(mesh("bridge"), 4.0, base="flat", max_rounds=1),
    "ways up weighed": _ways,
    "ways up ranked": lambda: _ranked("shaft"),
}
