"""The one preparation of every sag solve: plan the bricks, separate the bodies."""

from __future__ import annotations

from dataclasses import dataclass, replace

import trimesh

from shrinkrule.sag.bodies import SeparatedBodies, separate_bodies
from shrinkrule.sag.lying import stands_on_a_point
from shrinkrule.sag.material import SagMaterial
from shrinkrule.sag.plan import SagPlan, plan
from shrinkrule.sag.settings import SagSettings, does_not_stand


@dataclass(frozen=True)
class SagProblem:
    """A part ready to be solved.

    Parameters
    ----------
    bodies : SeparatedBodies
        The part, its bodies moved apart where the bricks need it.
    plan : SagPlan
        Its bricks.
    material : SagMaterial
        What sags.
    settings : SagSettings
        How it lies.
    """

    bodies: SeparatedBodies
    plan: SagPlan
    material: SagMaterial
    settings: SagSettings

    @property
    def mesh(self) -> trimesh.Trimesh:
        """The part that is solved, mm."""
        return self.bodies.mesh


def prepare(mesh: trimesh.Trimesh, material: SagMaterial, settings: SagSettings) -> SagProblem:
    """Plan the bricks of a part and separate its bodies.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part, mm.
    material : SagMaterial
        What sags.
    settings : SagSettings
        How it lies and how finely it is solved.

    Returns
    -------
    SagProblem
        The part, ready to be solved.

    Raises
    ------
    MeshError
        If the mesh is no solid, or stands on a point.
    SettingError
        If the bricks exceed the budget.
    """
    if not settings.supports and stands_on_a_point(mesh, settings.up):
        raise does_not_stand("the part stands on a point")
    planned = plan(mesh, settings)
    bodies = separate_bodies(mesh, planned.grid, settings)
    if bodies.mesh is not mesh:
        planned = plan(bodies.mesh, replace(settings, wall_mm=planned.wall_mm))
    return SagProblem(bodies, planned, material, settings)
