"""What people and machines read: screen, JSON, HTML and its pictures."""
