"""The detector's compiled loops, beside their readable definitions."""
