"""Readings for other programs and displays: NMEA 0183 targets and alerts, Signal K deltas, and where they are sent."""
