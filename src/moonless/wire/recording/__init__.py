"""A run kept: an MCAP file with everything that came in, as it came, and when.

    channel     encoding      one message is
    radar       cat240        one data block (from UDP: one datagram, sound or not)
    nmea        nmea0183      one line with its line end; `sequence` is the number of the link it came by
    bus         frames        the same, of NMEA 2000 frames as text (`docs/formats.md`)
    signalk     json          the same, of Signal K deltas
    readings    json          one line of readings.jsonl
    eye         json          what the skipper saw at an echo (`docs/formats.md`)
    answers     json          what was called and the skipper has answered: time, and key of the matter

Rules of this file:
- ``log_time`` is the time of receipt; ``publish_time`` equals it.
- Where a boat was, and what was said aboard, is its skipper's: the file is for its owner alone.
- What was taken in is the system's half a second later, which outlives this process, and on the disk a second later,
  which outlives a loss of power: the chunk in hand is closed and flushed, and each second synced.  A card that takes
  seconds to sync holds up neither.  A file without its end, as a crash leaves it, is read as far as it goes.
"""

from moonless.wire.recording.read import Recorded, RecordingReader
from moonless.wire.recording.write import RecordingWriter

__all__ = ["Recorded", "RecordingReader", "RecordingWriter"]
