"""What all rooms compute with: array types, ranges, graphs, triangles, progress."""
