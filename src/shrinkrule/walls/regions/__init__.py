"""Samples joined into regions, each named by how its area is held."""
