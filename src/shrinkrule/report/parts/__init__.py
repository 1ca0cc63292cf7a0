"""What is shown of parts along their way: the history, the review, and their pages."""
