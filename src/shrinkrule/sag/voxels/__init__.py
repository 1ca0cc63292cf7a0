"""The part as filled bricks of a regular grid: what fills them, and what is connected."""
