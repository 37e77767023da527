"""Daylight practice."""
