"""The main job: from the wanted part to the green part, and whether to make it."""

from shrinkrule.job.filament import filament_of
from shrinkrule.job.look import look_at_walls
from shrinkrule.job.recipe import Outline, Recipe
from shrinkrule.job.result import (
    JobResult,
    Level,
    Place,
    Reason,
    Row,
    Verdict,
    WallLook,
    binder_time,
    longer_than_coupon,
    times,
)
from shrinkrule.job.room import room_of
from shrinkrule.job.run import compensate

__all__ = [
    "JobResult",
    "Level",
    "Outline",
    "Place",
    "Reason",
    "Recipe",
    "Row",
    "Verdict",
    "WallLook",
    "binder_time",
    "compensate",
    "filament_of",
    "longer_than_coupon",
    "look_at_walls",
    "room_of",
    "times",
]
