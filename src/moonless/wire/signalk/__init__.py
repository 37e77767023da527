"""Signal K deltas, decoded into the same events as NMEA 0183."""
