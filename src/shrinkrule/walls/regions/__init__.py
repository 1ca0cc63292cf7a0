"""Samples joined into regions: walls, floors, pins, knife edges, gaps and thick sections."""
