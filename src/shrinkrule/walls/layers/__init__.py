"""What the nozzle lays down: the part cut layer by layer, and what a bead cannot reach in it."""
