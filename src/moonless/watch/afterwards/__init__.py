"""A run that is over: what was told on it, with what the instruments said beside."""
