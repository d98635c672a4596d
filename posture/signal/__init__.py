"""What was seen, how it is read, and the habitual posture that comes of it."""
