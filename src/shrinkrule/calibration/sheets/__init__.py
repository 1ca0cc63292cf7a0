"""Measuring sheets as makers bring them back: read, mended where no doubt is left, checked."""
