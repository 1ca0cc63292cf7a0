"""The main job: from the wanted part to the green part, and whether to make it."""

from shrinkrule.job.bodies import BodyLook, look_at_bodies
from shrinkrule.job.checks import Check, Level, Reason, State, Verdict
from shrinkrule.job.filament import filament_of
from shrinkrule.job.look import look_at_walls
from shrinkrule.job.recipe import Outline, Recipe
from shrinkrule.job.result import (
    JobResult,
    Place,
    Row,
    WallLook,
    binder_time,
    longer_than_coupon,
    times,
)
from shrinkrule.job.room import room_of
from shrinkrule.job.run import compensate, for_part
from shrinkrule.job.sag_look import SagLook, dimension_sags
from shrinkrule.job.ways import WayLook, weigh_ways

__all__ = [
    "BodyLook",
    "Check",
    "JobResult",
    "Level",
    "Outline",
    "Place",
    "Reason",
    "Recipe",
    "Row",
    "SagLook",
    "State",
    "Verdict",
    "WallLook",
    "WayLook",
    "binder_time",
    "compensate",
    "dimension_sags",
    "filament_of",
    "for_part",
    "longer_than_coupon",
    "look_at_bodies",
    "look_at_walls",
    "room_of",
    "times",
    "weigh_ways",
]
