"""Sag in words, JSON values and pictures."""
