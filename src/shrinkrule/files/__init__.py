"""File formats, each read and written in one module."""
