"""NMEA 2000: frames of the bus as text, put together and decoded into the same events as NMEA 0183."""
