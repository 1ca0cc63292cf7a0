"""Which of many parts share a crucible: those of one row, in the furnace that holds for them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from shrinkrule.cli.many_parts.processes import Outcome

if TYPE_CHECKING:
    from shrinkrule.furnace import Furnace
    from shrinkrule.report.many import LoadPlan


def loads_of(
    outcomes: Sequence[Outcome], box: str | None, crucible: str | None
) -> tuple[LoadPlan, ...]:
    """Put the parts that can be made into loads.

    Parameters
    ----------
    outcomes : sequence of Outcome
        All parts.
    box, crucible : str or None
        Furnace by options; what else holds is read from settings files.

    Returns
    -------
    tuple of LoadPlan
        One for each row and furnace; none where no furnace is stated.
    """
    from shrinkrule.job import Level
    from shrinkrule.settings import Settings, furnace_of

    groups: dict[tuple[Furnace, str], list[int]] = {}
    for number, outcome in enumerate(outcomes):
        if outcome.report is None or outcome.report["verdict"]["level"] == Level.STOP:
            continue
        furnace = furnace_of(Settings.for_model(outcome.model, box=box, crucible=crucible))
        if furnace is not None:
            groups.setdefault((furnace, _row(outcome.report)), []).append(number)
    return tuple(
        _plan(furnace, row, numbers, outcomes) for (furnace, row), numbers in groups.items()
    )


def _plan(
    furnace: Furnace, row: str, numbers: Sequence[int], outcomes: Sequence[Outcome]
) -> LoadPlan:
    from dataclasses import replace

    import numpy as np

    from shrinkrule.loads import Footprint, Load, fewest_loads, pack_loads
    from shrinkrule.report.many import LoadPlan

    rooms, alone = [], []
    for number in numbers:
        report = outcomes[number].report or {}
        room, fit = report["room_in_furnace"], report["furnace"]
        rooms.append(Footprint(np.array(room["reach_mm"]), room["height_mm"]))
        alone.append(fit is not None and fit["spare_mm"] >= 0.0)
    loads, left = pack_loads(rooms, furnace, alone)
    whole = tuple(
        Load(tuple(replace(part, number=numbers[part.number]) for part in load.parts))
        for load in loads
    )
    fewest = fewest_loads([room for n, room in enumerate(rooms) if n not in left], furnace)
    return LoadPlan(furnace, row, whole, tuple(numbers[n] for n in left), fewest)


def _row(report: dict[str, Any]) -> str:
    """Row that a part shrinks by: parts of different rows are not fired together."""
    calibration = report["calibration"]
    if calibration is None:
        return "factors by hand"
    return f"row {calibration['row']['name']!r} of {calibration['source']}"
