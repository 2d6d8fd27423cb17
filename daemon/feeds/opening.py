"""From a feed's specification to the feed itself."""

from daemon.clock import Clock
from daemon.feeds.face import Feed
from daemon.feeds.intake import Intake
from daemon.feeds.live import LiveFeed, Source
from daemon.feeds.uri import FeedKind, FeedSpec


def open_feed(spec: FeedSpec, intake: Intake, clock: Clock) -> Feed:
    """A live feed, not yet started. Each kind's library is loaded only where it is used."""
    return LiveFeed(spec.name, _source(spec), intake, clock)


def _source(spec: FeedSpec) -> Source:
    match spec.kind:
        case FeedKind.SERIAL:
            from daemon.feeds.serial_line import SerialSource

            return SerialSource(spec)
        case FeedKind.UDP:
            from daemon.feeds.udp import UdpSource

            return UdpSource(spec)
        case FeedKind.TCP:
            from daemon.feeds.tcp import TcpSource

            return TcpSource(spec)
        case FeedKind.FILE | FeedKind.STDIN:
            from daemon.feeds.stdin import StreamSource

            return StreamSource(spec)
