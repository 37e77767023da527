"""Local knowledge from many runs."""
