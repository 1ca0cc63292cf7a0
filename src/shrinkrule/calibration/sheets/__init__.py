"""Measuring sheets as makers bring them back: read, corrected where no doubt is left, checked."""
