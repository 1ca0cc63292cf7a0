"""What came out, held against what the row promised: bands, likely causes, what would decide."""
