"""The main job: from the wanted part to the green part, and whether to make it."""

from shrinkrule.job.recipe import Outline, Recipe
from shrinkrule.job.result import JobResult, Level, Place, Reason, Verdict, WallLook
from shrinkrule.job.run import compensate, look_at_walls

__all__ = [
    "JobResult",
    "Level",
    "Outline",
    "Place",
    "Reason",
    "Recipe",
    "Verdict",
    "WallLook",
    "compensate",
    "look_at_walls",
]
