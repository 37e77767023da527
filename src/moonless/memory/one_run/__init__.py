"""One run to its summary."""
