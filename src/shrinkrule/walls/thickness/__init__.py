"""Thickness by the largest ball inside, and air by the largest ball outside, that touches."""
