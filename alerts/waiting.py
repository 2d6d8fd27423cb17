"""What waits between the lookout's two strokes, in the order in which it came."""

from msgspec import Struct

from alerts.events import AnyEvent, Moment, Note
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.rules.situation import Situation, TargetHealth
from alerts.settings import Alerts, Condition
from parsers import observations as seen

OURSELVES = "secondplot"
"""The author of the program's own notes."""

Said = tuple[Moment, AnyEvent]


def our_note(moment: Moment, text: str) -> tuple[Moment, Note]:
    """A note of the program's own, in its place among what is said."""
    return moment, Note(time=moment.time, text=text, author=OURSELVES)


class Sighting(Struct, frozen=True, gc=False):
    """A target's measurement, waiting for its CPA."""

    moment: Moment
    target: str
    name: str
    report: seen.TargetReport | None
    look: Look
    estimate: Estimate
    cpa_limit_nm: float
    renumbered: bool = False
    is_echo: bool = True  # what radar sees, and tells of the picture's quality; not a plot by hand, not AIS
    is_judged: bool = True  # the rules are asked of it
    elder: str | None = None  # the track on the same vessel for which alerts are raised
    heading_deg: float | None = None  # the target's own, where it tells it
    is_report: bool = True  # else the last one, carried on: the rules are asked, and no plot is said


class Gone(Struct, frozen=True, gc=False):
    """A track has ended; what waits of it is forgotten."""

    target: str


class Carried(Struct, frozen=True, gc=False):
    """What is told of one track goes on under another: they are one vessel."""

    moment: Moment
    old: str
    new: str


class NewCondition(Struct, frozen=True, gc=False):
    """Another condition comes into force."""

    moment: Moment
    name: str


class NewSettings(Struct, frozen=True, gc=False):
    """Other settings come into force, every alert staying as it is."""

    moment: Moment
    alerts: Alerts
    conditions: dict[str, Condition]
    condition: str


class Command(Struct, frozen=True, gc=False):
    """An alert command from a feed."""

    moment: Moment
    command: seen.AlertCommand


class Tick(Struct, frozen=True, gc=False):
    """A whole second, and how everything stood at it."""

    moment: Moment
    situation: Situation  # but for its targets: which are judged is known in the second stroke only
    targets: tuple[TargetHealth, ...]
    own: OwnMotion
    water: seen.WaterMotion | None
    stream: seen.SetAndDrift | None


Waiting = Sighting | Tick | Gone | Carried | NewCondition | NewSettings | Command | Said
