"""Practice: the radar learned by exercises whose truth is known, and what is held of it over time."""
