"""The physical model: what this radar would show, here, in this weather."""
