"""What was made, when, by which row, and how it came out: plain lines beside the table."""
