"""What is worth saying now, and when it is said."""
