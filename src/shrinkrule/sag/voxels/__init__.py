"""The part as filled bricks of a regular grid: what fills them, and how it hangs together."""
