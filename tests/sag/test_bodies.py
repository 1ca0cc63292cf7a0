"""Bodies that touch are one, and bodies that nearly touch are two."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from shrinkrule.sag.bodies import body_of_vertices
from shrinkrule.sag.settings import TOUCHING_MM


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> trimesh.Trimesh:
    return trimesh.creation.box(bounds=[low, high])


def count(*bodies: trimesh.Trimesh) -> int:
    return int(body_of_vertices(trimesh.util.concatenate(list(bodies))).max()) + 1


@pytest.mark.parametrize(
    ("gap", "expected"), [(0.0, 1), (0.5 * TOUCHING_MM, 1), (2.0 * TOUCHING_MM, 2), (1.0, 2)]
)
def test_a_post_stands_on_a_plate_or_above_it(gap: float, expected: int) -> None:
    """Only the post's corners lie on the plate's facets, none of the plate's on the post's."""
    plate = box((-20, -20, -2), (20, 20, 0))
    post = box((3, 4, gap), (6, 7, gap + 9))
    assert count(plate, post) == expected
    assert count(post, plate) == expected
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])
    assert count(*(one.apply_transform(turn) for one in (post, plate))) == expected


def test_bodies_in_the_box_of_another_touch_it_where_they_do() -> None:
    """A pin in the hollow of an angle, off both legs; and one that leans against a leg."""
    angle = trimesh.util.concatenate([box((0, 0, 0), (30, 2, 5)), box((0, 0.5, 1), (2, 30, 4))])
    free, leaning = box((6, 6, 0), (8, 8, 5)), box((6, 2, 1), (8, 4, 3))
    joined = count(angle)
    assert count(angle, free) == joined + 1
    assert count(angle, leaning) == joined


def test_a_cavity_belongs_to_the_body_around_it() -> None:
    hollow = box((2, 2, 2), (4, 4, 4))
    hollow.invert()
    label = body_of_vertices(
        trimesh.util.concatenate([box((0, 0, 0), (9, 9, 9)), hollow, box((20, 0, 0), (29, 9, 9))])
    )
    assert len(np.unique(label)) == 2
    assert label[0] == label[8]
