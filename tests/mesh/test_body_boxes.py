"""Boxes around bodies, against the corners of each body alone."""

from __future__ import annotations

import numpy as np
import trimesh

from shrinkrule.mesh.repair import body_boxes, facets_by_body


def test_boxes_of_bodies_of_many_sizes_are_those_of_each_alone() -> None:
    random = np.random.default_rng(3)
    shells = []
    for level in (0, 2, 1, 0, 3):
        shell = trimesh.creation.icosphere(subdivisions=level, radius=random.uniform(1.0, 3.0))
        shell.apply_translation(random.uniform(-50.0, 50.0, 3))
        shells.append(shell)
    whole = trimesh.util.concatenate(shells)
    labels = np.repeat(np.arange(len(shells)), [len(one.faces) for one in shells])
    order = random.permutation(len(labels))
    bodies = facets_by_body(labels[order], len(shells))
    low, high = body_boxes(np.asarray(whole.vertices), np.asarray(whole.faces)[order], bodies)
    assert np.array_equal(low, [one.vertices.min(axis=0) for one in shells])
    assert np.array_equal(high, [one.vertices.max(axis=0) for one in shells])
