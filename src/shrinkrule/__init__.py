"""Shrinkrule: from the wanted metal part to the green part to print."""
