"""The first stage: bytes to spokes and to what instruments say, on the watch's own time line."""

from __future__ import annotations

from dataclasses import dataclass, replace

from moonless.picture.told import PictureErrors
from moonless.scan.range_factors import RangeFactors
from moonless.scan.types import Spoke
from moonless.watch.instruments.faults import FaultWatch
from moonless.watch.instruments.intake import Chooser, Intake
from moonless.watch.instruments.timebase import ClockNews, RadarNews, TimeBase
from moonless.watch.screen.transcribe import errors_in
from moonless.wire.cat240 import Cat240Decoder, Summary, Video
from moonless.wire.instruments import InstrumentDecoder


@dataclass(frozen=True, slots=True)
class DecodedSpokes:
    """What one piece of radar bytes held."""

    spokes: list[Spoke]  # of the radar that is followed, in the order they came, with times of the watch's time line
    clock: RadarNews  # what the radar's own time shows
    of_others: int = 0  # spokes of a second radar on the same link, left out


class RadarDecoding:
    """Category 240 in, spokes of one radar out."""

    def __init__(self, times: TimeBase, faults: FaultWatch) -> None:
        self.decoder = Cat240Decoder()
        self._times = times
        self._faults = faults
        self._source = Chooser()  # of several radars on one link, by data source
        self.range_factors = RangeFactors()
        self.picture: PictureErrors | None = None  # of a radar that is read from its screen, as it last told

    def decode(self, data: bytes, received_ns: int, *, is_datagram: bool) -> DecodedSpokes:
        """Take in bytes of a stream, cut anywhere, or one datagram."""
        counts = self.decoder.counts
        bad, n_video = counts.damaged + counts.unknown_compression, counts.videos
        events = self.decoder.datagram(data) if is_datagram else self.decoder.feed(data)
        now_ns = self._times.utc(received_ns)
        self._faults.radar_blocks(now_ns, len(events), counts.damaged + counts.unknown_compression - bad)
        for event in events:
            if isinstance(event, Summary):
                self.picture = errors_in(event.text) or self.picture
        videos = [e for e in events if isinstance(e, Video) and self._source.takes((e.sac, e.sic), 0, now_ns)]
        of_others = counts.videos - n_video - len(videos)
        if not videos:
            return DecodedSpokes([], "same", of_others)
        clock: RadarNews = "same"
        spokes = [video.to_spoke(now_ns) for video in videos]
        timed = [k for k, video in enumerate(videos) if video.time_of_day_s is not None]
        if timed:
            clock, times = self._times.radar(received_ns, [spokes[k].time_ns for k in timed])
            for k, time_ns in zip(timed, times, strict=True):
                if time_ns != spokes[k].time_ns:
                    spokes[k] = replace(spokes[k], time_ns=time_ns)
        return DecodedSpokes(spokes, clock, of_others)


class InstrumentDecoding:
    """What instruments say, link by link, taken in by `Intake`."""

    def __init__(self, intake: Intake) -> None:
        self.intake = intake
        self.decoders: dict[str, InstrumentDecoder] = {}

    def decode(self, data: bytes, received_ns: int, link: str, *, is_datagram: bool) -> ClockNews:
        """Take in bytes of one link; return what its receiver's date and time does to the time line."""
        decoder = self.decoders.get(link)
        if decoder is None:
            decoder = self.decoders[link] = InstrumentDecoder()
        events = decoder.datagram(data, received_ns) if is_datagram else decoder.feed(data, received_ns)
        self.intake.take(events, link)
        news, self.intake.clock_news = self.intake.clock_news, "same"
        return news
