"""How far a centre of mass lies outside what holds a body up."""

from __future__ import annotations

import numpy as np
import pytest

from shrinkrule.sag.contact.stability import outside_support


def test_over_a_line_a_body_balances_and_beside_or_beyond_it_it_does_not() -> None:
    turn = np.array([[0.8, 0.6], [-0.6, 0.8]])
    line = np.array([[0.0, 0.0], [1.0, 0.0], [4.0, 0.0]]) @ turn
    for centre, away in (
        ((2.0, 0.0), 0.0),
        ((3.9, 0.0), 0.0),
        ((0.1, 0.0), 0.0),
        ((2.0, -1.5), 1.5),
        ((7.0, 4.0), 5.0),
        ((-3.0, 4.0), 5.0),
    ):
        assert outside_support(line, np.array(centre) @ turn) == pytest.approx(away, abs=1e-9)
    square = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])
    assert outside_support(square, np.array([1.0, 2.0])) == pytest.approx(-1.0)
    assert outside_support(square, np.array([5.0, 2.0])) == pytest.approx(1.0)
    assert outside_support(square[:0], np.zeros(2)) == np.inf
