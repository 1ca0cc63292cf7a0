"""Mesh files and their soundness: read, inspect, mend what is safe, write."""
