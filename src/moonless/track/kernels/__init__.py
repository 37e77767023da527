"""The tracker's compiled loops, beside their readable definitions."""
