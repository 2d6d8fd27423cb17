"""How a running watch stands: what `secondplot status` shows, as values and as lines for a person."""

from collections.abc import Iterator

from msgspec import Struct

from alerts import events, standing
from alerts.annunciators.desk import Desk
from alerts.events import Alert, Instant, OwnShip
from alerts.plotting.quality import PictureQuality, TargetQuality
from alerts.plotting.terms import FeedState, TrackState
from daemon import words
from daemon.control import Pending
from daemon.errors import UserError
from daemon.stream import Stream


class FeedStatus(Struct, frozen=True):
    """One feed: state, age of its last line (None: none yet), counts of lines, and what is wrong with it in words."""

    name: str
    state: FeedState
    age_s: float | None
    lines: int
    accepted: int
    refused: int
    dropped: int
    trouble: str


class Status(Struct, frozen=True, kw_only=True):
    """Unknown is None. `targets` are those not lost, of which `not_updated` have said nothing for several of their own
    intervals. `picture` and `echoes`, the radar targets that are held: docs/picture-quality.md. `problems`: sinks and
    annunciators that do not work now, by name."""

    watch: str
    time: Instant | None
    condition: str
    conditions: tuple[str, ...]
    own_ship: OwnShip | None
    feeds: tuple[FeedStatus, ...]
    targets: int
    not_updated: int
    picture: PictureQuality | None
    echoes: tuple[TargetQuality, ...]
    annunciators: tuple[str, ...]
    problems: dict[str, str]
    alerts: tuple[Alert, ...]


def status_of(stream: Stream, watch: str, desk: Desk | None = None) -> Status:
    """The status now. Call it from the stream's own thread."""
    lookout, moment = stream.lookout, stream.moment
    quality = lookout.judging.quality
    states = [state for _, _, state in lookout.targets.states() if state is not TrackState.LOST]
    problems = {output.name: output.problem for output in stream.failing()}
    if desk is not None:
        problems |= {one.name: one.problem for one in desk.problems()}
    return Status(
        watch=watch,
        time=moment.time if moment else None,
        condition=lookout.condition,
        conditions=tuple(lookout.conditions),
        own_ship=standing.own_event(lookout.own, moment) if moment else None,
        feeds=tuple(
            FeedStatus(
                feed.name,
                feed.state or FeedState.SILENT,
                None if feed.heard_s is None or moment is None else max(0.0, moment.at_s - feed.heard_s),
                feed.counters.lines,
                feed.counters.accepted,
                sum(feed.counters.refused.values()),
                sum(feed.counters.dropped.values()),
                feed.trouble,
            )
            for feed in stream.feeds.values()
        ),
        targets=len(states),
        not_updated=states.count(TrackState.COASTING),
        picture=quality.picture(moment.at_s) if moment else None,
        echoes=tuple(quality.targets(moment.at_s)) if moment else (),
        annunciators=tuple(desk.names) if desk is not None else (),
        problems=problems,
        alerts=tuple(lookout.judging.alerts.standing(moment)) if moment else (),
    )


def encode(status: Status) -> bytes:
    """The status as one line of JSON."""
    return events.encoder.encode(status)


def lines(status: Status) -> list[str]:
    """For a person. Where nothing is known it says so; it never reads as if all were well."""
    said = [f"watch '{status.watch}': condition {status.condition}"]
    said.append(f"as it stands at {status.time}" if status.time else "no data has come yet")
    said.append(_own_ship(status.own_ship))
    for feed in status.feeds:
        trouble = f" ({words.clean(feed.trouble, 120)})" if feed.trouble else ""
        last = "no line yet" if feed.age_s is None else f"last line {words.age(feed.age_s)} ago"
        said.append(
            f"feed {words.clean(feed.name)}: {feed.state}{trouble}, {last}, {feed.lines} lines, "
            f"{feed.accepted} accepted, {feed.refused} refused, {feed.dropped} dropped"
        )
    said.append(
        words.several(status.targets, "target") + (f", {status.not_updated} NOT UPDATED" if status.not_updated else "")
    )
    said += _quality(status)
    said.append(
        f"alerts are told by {', '.join(status.annunciators)}" if status.annunciators else "no annunciator is on"
    )
    said += [f"FAILING: {name}: {words.clean(problem, 200)}" for name, problem in status.problems.items()]
    said += [
        f"{alert.priority.upper()} {alert.id}, {words.alert_state(alert)}: {words.clean(alert.text, words.TEXT_LENGTH)}"
        for alert in status.alerts
    ]
    if not status.alerts:
        said.append("no alert stands" if status.time else "no alert can stand: there is no data")
    return said


def _quality(status: Status) -> Iterator[str]:
    """How steady the echoes are; nothing where radar holds and has held none."""
    picture = status.picture
    if picture is None or picture.acquisitions == 0:
        return
    share = "" if picture.settled_share is None else f", {words.percent(picture.settled_share)} of acquisitions settled"
    held = words.several(picture.held, "echo", "echoes")
    yield f"picture: {held} held, {picture.gained} gained and {picture.lost} lost in the last minute{share}"
    for echo in status.echoes:
        due = "rhythm not known yet" if echo.rhythm_s is None else f"{echo.received} of {echo.expected} reports due"
        yield f"echo {echo.target}: {due}, {words.scatter(echo.scatter.range_m, echo.scatter.bearing_deg)}"


def _own_ship(own: OwnShip | None) -> str:
    if own is None:
        return "own ship: nothing known"
    source = f" by {own.heading_source}" if own.heading_source else ""
    if own.heading_source == "cog":
        source = ", course over ground in its place"
    parts = (
        _value("heading", own.heading_deg, words.bearing(own.heading_deg) + source, own.heading_age_s),
        _value("course", own.cog_deg, words.bearing(own.cog_deg), own.cog_age_s),
        _value("speed", own.sog_kn, f"{words.knots(own.sog_kn)} over ground", own.sog_age_s),
        _value(
            "position", own.lat_deg, f"{words.latitude(own.lat_deg)} {words.longitude(own.lon_deg)}", own.position_age_s
        ),
    )
    return f"own ship: {', '.join(parts)}"


def _value(name: str, known: float | None, text: str, age_s: float | None) -> str:
    """A value with its age; one that is too old is LOST, with how long ago it was heard."""
    if known is None:
        return f"no {name}" if age_s is None else f"{name} LOST, last {words.age(age_s)} ago"
    return f"{name} {text} ({words.age(age_s)} old)"


def _answer_situation(pending: Pending, stream: Stream) -> None:
    """Own ship and targets as they stand now, for a trial manoeuvre."""
    from daemon.trialling.moment import encode as encode_situation
    from daemon.trialling.moment import situation_of

    if stream.moment is None:
        raise UserError("the watch has not seen any data yet")
    stream.flush()
    pending.answer("the situation now", status=encode_situation(situation_of(stream.lookout, stream.moment)))


def obey(pending: Pending, stream: Stream, watch: str, desk: Desk | None = None) -> None:
    """Answer one request from the watch's own loop; whatever goes wrong is an answer, too."""
    try:
        if pending.verb == "status":
            status = status_of(stream, watch, desk)
            pending.answer("\n".join(lines(status)), status=encode(status))
        elif pending.verb == "situation":
            _answer_situation(pending, stream)
        else:
            pending.answer(stream.ask(pending.verb, pending.id, pending.text))
    except UserError as error:
        pending.answer(str(error), ok=False)
    except Exception as error:
        pending.answer(f"a fault of ours: {type(error).__name__}: {error}", ok=False)
        raise
