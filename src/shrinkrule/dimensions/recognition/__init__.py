"""Flat faces and right cylinders recognised on facets, exact to what the file's rounding allows."""
