"""Hostile bytes for every door that bytes come in by: no foreign exception, no hang, no memory without end."""
