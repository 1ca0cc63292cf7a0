"""Finite elements on the filled bricks: the element, the operator, the solver, the field."""
