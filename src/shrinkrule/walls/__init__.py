"""Local wall thickness of a part and what the nozzle can print of it."""
