"""The model's compiled loops, beside their readable definitions."""
