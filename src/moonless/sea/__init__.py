"""Tide heights and streams from harmonic constituents; sea state from wind."""
