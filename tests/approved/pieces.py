"""Approved: coupons, dimensions found, and loads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np

from approved.small import FINE, PRINTER, mesh, part, row, turned
from shrinkrule import (
    BoxFurnace,
    CouponPlan,
    CrucibleFurnace,
    Part,
    Printer,
    design_coupon,
    find_dimensions,
    fit_in_furnace,
    part_from_mesh,
)
from shrinkrule.compensation import LayerHeights, Print
from shrinkrule.coupon import Readings, coupon_dict
from shrinkrule.dimensions import (
    Limits,
    judged,
    making_of,
    numbered_dozen,
    other_ways_up,
    part_chance,
    promise_dimensions,
)
from shrinkrule.loads import fewest_loads, footprint, pack_loads


def _coupon(printer: Printer, furnace: Any, **stated: Any) -> dict[str, Any]:
    made = design_coupon(CouponPlan(printer, furnace, **stated))
    return {
        "facts": coupon_dict(made, {}),
        "bed": made.bed,
        "floor": made.floor,
        "dimensions": made.dimensions,
        "mesh": made.mesh,
    }


def _dimensions(of: Part) -> dict[str, Any]:
    found = find_dimensions(of)
    return {
        "found": found,
        "ends": [one.ends for one in numbered_dozen(found)],
    }


def _noisy() -> dict[str, Any]:
    """A part whose file rounds to a hundredth, lying askew."""
    made = turned("bracket", (0.3, -1.0, 0.4), 37).mesh
    made.vertices = np.round(np.asarray(made.vertices), 2)
    return _dimensions(part_from_mesh(made))


def _promised(name: str, up: str) -> dict[str, Any]:
    of = part(name)
    found = find_dimensions(of)
    made = Print(LayerHeights(0.3, 0.2), 0.05)
    making = making_of(of, row(), print_up=up, turn_deg=90, made=made)
    promised = promise_dimensions(found.every, making)
    limits = {
        place: Limits(one.size_mm - 0.05 - 0.02 * place, one.size_mm + 0.08)
        for place, one in enumerate(found.every[:14])
    }
    ways = other_ways_up(of, row(), up, made)
    every = judged(promised, limits, making, ways)
    return {"promised": promised, "judged": every, "chance": part_chance(every)}


def _loads() -> dict[str, Any]:
    rng = np.random.default_rng(4)
    rooms = []
    for _ in range(9):
        points = rng.uniform(-1.0, 1.0, (12, 3)) * rng.uniform(4.0, 22.0, 3)
        rooms.append(footprint(points))
    rooms.append(footprint(np.asarray(mesh("bracket").vertices)))
    rooms.append(footprint(np.asarray(mesh("shaft").vertices)))
    found: dict[str, Any] = {"rooms": rooms, "areas": [room.area_mm2 for room in rooms]}
    for furnace in (BoxFurnace(80.0, 52.0, 36.0), CrucibleFurnace(64.0, 40.0)):
        loads, left = pack_loads(rooms, furnace, [number == 3 for number in range(len(rooms))])
        found[str(furnace)] = {
            "loads": [
                [(p.number, p.at, p.turned_deg, p.corners) for p in one.parts] for one in loads
            ],
            "left": left,
            "fewest": fewest_loads(rooms, furnace),
        }
    return found


def _furnaces() -> dict[str, Any]:
    rng = np.random.default_rng(6)
    found = {}
    furnaces = (
        BoxFurnace(60.0, 40.0, 30.0),
        BoxFurnace(20.0, 45.0, 12.0, ballast_below_mm=2.0, ballast_above_mm=3.0),
        CrucibleFurnace(50.0, 30.0),
        CrucibleFurnace(34.0, 60.0, ballast_below_mm=5.0),
    )
    for number, size in enumerate(((20, 10, 8), (28, 9, 7), (17, 17, 17), (40, 25, 4))):
        points = rng.uniform(-0.5, 0.5, (14, 3)) * size
        for furnace in furnaces:
            found[f"{number} in {furnace}"] = fit_in_furnace(points, furnace)
    return found


JOBS: Final[dict[str, Callable[[], Any]]] = {
    "coupon box": lambda: _coupon(PRINTER, BoxFurnace(80.0, 60.0, 50.0)),
    "coupon crucible": lambda: _coupon(FINE, CrucibleFurnace(70.0, 40.0), sag_modulus_kpa=300.0),
    "coupon few": lambda: _coupon(PRINTER, BoxFurnace(90.0, 70.0, 40.0), readings=Readings.FEW),
    "coupon soft": lambda: _coupon(
        Printer.from_nozzle(0.8), BoxFurnace(150.0, 110.0, 60.0), sag_modulus_kpa=60.0
    ),
    "coupon stiff": lambda: _coupon(FINE, BoxFurnace(50.0, 46.0, 30.0), sag_modulus_kpa=9000.0),
    "dimensions bracket": lambda: _dimensions(part("bracket")),
    "dimensions bracket rounded": _noisy,
    "dimensions shaft": lambda: _dimensions(part("shaft")),
    "dimensions shaft leaning": lambda: _dimensions(turned("shaft", (1.0, 2.0, 0.5), 51)),
    "dimensions made": lambda: [_dimensions(part(f"made{n}")) for n in (2, 4)],
    "dimensions tilted": lambda: _dimensions(part("tilted")),
    "promised bracket": lambda: _promised("bracket", "z"),
    "promised shaft": lambda: _promised("shaft", "-x"),
    "loads": _loads,
    "furnaces": _furnaces,
}
