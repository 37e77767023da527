"""Tracks and chart to the reading."""
