"""Encounters: the geometry of COLREG Rules 13, 14, 15 and 19, in words and rule numbers.

Words only, never an order: which sector each vessel is in as seen from the other (`colregs` has what the rule of that
sector says). Whether there is risk of collision is for the closest approach to say; who keeps clear may be changed by
what no radar shows (Rules 9, 10, 12 and 18).

Two angles decide. The **relative bearing** is the target's bearing off our bow, the **aspect** ours off hers; both run
from -180 to 180, starboard positive. Limits are exact: the overtaking sector is *more* than 22.5° abaft the beam
(Rule 13(b)), so more than 112.5° off the bow; forward of the beam is less than 90°.

Doubt is resolved on the side that Rules 13(c) and 14(c) name, and by nobody else's duty: in doubt whether WE are
overtaking, we assume it; in doubt whether SHE overtakes us, we do not assume that she will keep clear, and the word
is crossing. A vessel once overtaking remains so until past and clear, whatever her bearing does (Rule 13(d)).
"""

from math import atan2, degrees, hypot, inf
from typing import Annotated, Protocol

from msgspec import Meta, Struct

from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.terms import Encounter
from parsers.observations import MotionReference

STERN_SECTOR_DEG = 112.5
"""22.5° abaft the beam: Rule 13(b), and the sidelights' limit of Rule 21(b)."""

BEAM_DEG = 90.0

CONFIDENCE_SD = 1.96
"""Standard deviations of a two-sided 95 % limit."""

_OVERTAKING = frozenset({Encounter.OVERTAKING_US, Encounter.BEING_OVERTAKEN})
_MOST_TARGETS = 3500  # memories kept; the oldest goes first. More than any set tracks, AIS targets included.


class EncounterSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What Rules 13 to 15 leave to judgement.

    Rule 14 gives no angle for "nearly reciprocal": half a point is called head-on and one point is doubt (common
    practice, no source). `heading_from_course_sd_deg` is how far a target's heading may lie from her course over ground
    by leeway and stream, one standard deviation (ours); it widens the doubt wherever her heading is not known.
    """

    head_on_deg: Annotated[float, Meta(gt=0, le=15, description="each within this of the other's bow: head-on")] = 5.625
    head_on_doubt_deg: Annotated[float, Meta(gt=0, le=30, description="each within this: in doubt, assume head-on")] = (
        11.25
    )
    hysteresis_deg: Annotated[
        float, Meta(ge=0, le=10, description="a word that holds keeps its sector by so much more")
    ] = 3.0
    heading_from_course_sd_deg: Annotated[
        float,
        Meta(
            ge=0,
            le=30,
            description="how far (one sigma) a target's heading may be from her course, where only that is known",
        ),
    ] = 4.0
    stationary_kn: Annotated[
        float, Meta(gt=0, le=3, description="slower than this, and known to be, is stationary")
    ] = 1.0
    clear_s: Annotated[
        float, Meta(ge=0, le=600, description="opening for this long an overtaking vessel is past and clear")
    ] = 60.0


class Motion(Protocol):
    """The part of a closed-form answer that is read here: angles in degrees, speed over ground in knots."""

    @property
    def bearing_deg(self) -> float | None: ...
    @property
    def relative_bearing_deg(self) -> float | None: ...
    @property
    def course_deg(self) -> float | None: ...
    @property
    def speed_kn(self) -> float | None: ...


class Angles(Struct, frozen=True, gc=False):
    """How two vessels lie to one another: signed angles off each one's bow, with their standard deviations."""

    relative_bearing_deg: float
    relative_bearing_sd_deg: float
    aspect_deg: float
    aspect_sd_deg: float


class _Memory(Struct, gc=False):
    """What the last answer was, for hysteresis."""

    word: Encounter = Encounter.UNSETTLED  # as for vessels in sight, in any visibility
    overtaking: Encounter | None = None  # Rule 13(d): holds until past and clear
    opening_since_s: float | None = None
    opening: bool = False
    stationary: bool = False
    abaft: bool = False


def signed(angle_deg: float) -> float:
    """The same angle in (-180, 180], starboard positive."""
    turned = angle_deg % 360.0
    return turned - 360.0 if turned > 180.0 else turned


def aspect_deg(bearing_deg: float, heading_deg: float) -> float:
    """Own bearing off the target's bow, in (-180, 180]: starboard (green) positive, port (red) negative.

    `bearing_deg` is hers from us, `heading_deg` hers, both true.
    """
    return signed(bearing_deg + 180.0 - heading_deg)


def geometry(angles: Angles, settings: EncounterSettings, before: Encounter = Encounter.UNSETTLED) -> Encounter:
    """The word of Rules 13, 14 and 15 for two vessels that close, each under way. `before` was the word last time.

    UNSETTLED where each lies in the other's stern sector: vessels that close so are going astern or set by a stream,
    and no rule's picture is like it.
    """
    off_bow, aspect = abs(angles.relative_bearing_deg), abs(angles.aspect_deg)
    if off_bow > STERN_SECTOR_DEG and aspect > STERN_SECTOR_DEG:
        return Encounter.UNSETTLED
    bow_doubt = CONFIDENCE_SD * angles.relative_bearing_sd_deg
    aspect_doubt = CONFIDENCE_SD * angles.aspect_sd_deg
    if off_bow - bow_doubt > _eased(STERN_SECTOR_DEG, -1, settings, before == Encounter.OVERTAKING_US):
        return Encounter.OVERTAKING_US
    if aspect - aspect_doubt > STERN_SECTOR_DEG:
        return Encounter.BEING_OVERTAKEN
    in_doubt = before in (Encounter.BEING_OVERTAKEN, Encounter.IN_DOUBT_OVERTAKING)
    if aspect + aspect_doubt > _eased(STERN_SECTOR_DEG, -1, settings, in_doubt):
        return Encounter.IN_DOUBT_OVERTAKING
    return _head_on(angles, settings, before) or _crossing(angles, settings, before)


def _eased(limit_deg: float, sign: int, settings: EncounterSettings, held: bool) -> float:
    """A limit, moved outward by the hysteresis for the word that holds already."""
    return limit_deg + sign * settings.hysteresis_deg if held else limit_deg


def _head_on(angles: Angles, settings: EncounterSettings, before: Encounter) -> Encounter | None:
    """Rule 14: each ahead or nearly ahead of the other; None where neither it nor doubt of it applies."""
    widest = max(abs(angles.relative_bearing_deg), abs(angles.aspect_deg))
    if widest <= _eased(settings.head_on_deg, 1, settings, before == Encounter.HEAD_ON):
        return Encounter.HEAD_ON
    limit = _eased(settings.head_on_doubt_deg, 1, settings, before in (Encounter.HEAD_ON, Encounter.IN_DOUBT_HEAD_ON))
    doubtful = abs(angles.relative_bearing_deg) <= max(
        limit, settings.head_on_deg + CONFIDENCE_SD * angles.relative_bearing_sd_deg
    ) and abs(angles.aspect_deg) <= max(limit, settings.head_on_deg + CONFIDENCE_SD * angles.aspect_sd_deg)
    return Encounter.IN_DOUBT_HEAD_ON if doubtful else None


def _crossing(angles: Angles, settings: EncounterSettings, before: Encounter) -> Encounter:
    """Rule 15, by the side on which we have her.

    Right ahead, within the hysteresis, that side is noise: the word that holds stays, else the side of her that she
    shows decides (her port side: she comes from our starboard).
    """
    side = angles.relative_bearing_deg
    if abs(side) <= settings.hysteresis_deg:
        if before in (Encounter.CROSSING_FROM_STARBOARD, Encounter.CROSSING_FROM_PORT):
            return before
        side = -angles.aspect_deg
    return Encounter.CROSSING_FROM_STARBOARD if side > 0 else Encounter.CROSSING_FROM_PORT


class Encounters:
    """The word for each target, with the memory that hysteresis and Rule 13(d) need. Bounded: the oldest goes first."""

    def __init__(self, settings: EncounterSettings | None = None) -> None:
        self._settings = settings or EncounterSettings()
        self._memories: dict[str, _Memory] = {}

    def classify(
        self,
        target: str,
        estimate: Estimate,
        answer: Motion,
        own: OwnMotion,
        restricted_visibility: bool,
        heading_deg: float | None = None,
    ) -> Encounter:
        """The word for this target now; `heading_deg` is hers, true, where AIS or anything else tells it.

        UNSETTLED where her track is, where own heading or motion is not known, or where her motion is too uncertain for
        its direction to mean anything.
        """
        memory = self._remember(target)
        memory.word, angles = self._word(memory, estimate, answer, own, heading_deg)
        if angles is None or not restricted_visibility:
            return memory.word
        return self._rule_19(memory, angles, memory.word)

    def forget(self, target: str) -> None:
        """The target's track has ended."""
        self._memories.pop(target, None)

    def _remember(self, target: str) -> _Memory:
        memory = self._memories.pop(target, None) or _Memory()
        self._memories[target] = memory
        if len(self._memories) > _MOST_TARGETS:
            del self._memories[next(iter(self._memories))]
        return memory

    def _word(
        self,
        memory: _Memory,
        estimate: Estimate,
        answer: Motion,
        own: OwnMotion,
        heading_deg: float | None,
    ) -> tuple[Encounter, Angles | None]:
        """The word for vessels in sight, and the angles where it came from them."""
        if not estimate.settled or own.frame == MotionReference.UNKNOWN:
            return Encounter.UNSETTLED, None
        if answer.bearing_deg is None or answer.relative_bearing_deg is None or answer.speed_kn is None:
            return Encounter.UNSETTLED, None
        self._see_opening(memory, estimate, own)
        memory.stationary = self._is_stationary(memory, estimate, answer.speed_kn)
        if memory.stationary:
            return Encounter.STATIONARY, None
        if memory.opening:
            return Encounter.OPENING, None
        angles = self._angles(estimate, answer, own, heading_deg)
        if angles is None:
            return Encounter.UNSETTLED, None
        return self._rule_13d(memory, geometry(angles, self._settings, memory.word)), angles

    def _is_stationary(self, memory: _Memory, estimate: Estimate, speed_kn: float) -> bool:
        """Slow, and known to be so: the 95 % limit of her speed is below twice the limit (three times once held)."""
        limit_kn = (1.5 if memory.stationary else 1.0) * self._settings.stationary_kn
        return speed_kn <= limit_kn and speed_kn + CONFIDENCE_SD * _velocity_sd_kn(estimate) <= 2 * limit_kn

    def _see_opening(self, memory: _Memory, estimate: Estimate, own: OwnMotion) -> None:
        """Whether the range opens; within one standard deviation of neither, what was said before stays."""
        rate_kn, sd_kn = range_rate(estimate, own)
        if abs(rate_kn) > sd_kn:
            memory.opening = rate_kn > 0
        if not memory.opening:
            memory.opening_since_s = None
            return
        if memory.opening_since_s is None:
            memory.opening_since_s = estimate.at_s
        if estimate.at_s - memory.opening_since_s >= self._settings.clear_s:
            memory.overtaking = None

    def _angles(self, estimate: Estimate, answer: Motion, own: OwnMotion, heading_deg: float | None) -> Angles | None:
        """Both angles with their errors; None where the target's heading cannot be told within a quarter turn."""
        assert answer.bearing_deg is not None
        assert answer.relative_bearing_deg is not None
        bearing_sd = estimate.bearing_sd_deg
        if heading_deg is None:
            if answer.course_deg is None or not answer.speed_kn:
                return None
            heading_deg = answer.course_deg
            course_sd = degrees(atan2(_velocity_sd_kn(estimate), answer.speed_kn))
            heading_sd = hypot(course_sd, self._settings.heading_from_course_sd_deg)
            if CONFIDENCE_SD * course_sd > BEAM_DEG / 2:
                return None
        else:
            heading_sd = 1.0  # a heading device on board her: MSC.116(73), static error under 1°
        return Angles(
            signed(answer.relative_bearing_deg),
            hypot(bearing_sd, own.heading_sd_deg),
            aspect_deg(answer.bearing_deg, heading_deg),
            hypot(bearing_sd, heading_sd),
        )

    @staticmethod
    def _rule_13d(memory: _Memory, word: Encounter) -> Encounter:
        """Overtaking, once it is plain, holds until past and clear; only a plain head-on is a new encounter."""
        if word in _OVERTAKING and memory.overtaking is None:
            memory.overtaking = word
        if memory.overtaking is not None and word == Encounter.HEAD_ON:
            memory.overtaking = None
        return memory.overtaking or word

    def _rule_19(self, memory: _Memory, angles: Angles, word: Encounter) -> Encounter:
        restricted = rule_19(angles, word, self._settings, memory.abaft)
        memory.abaft = restricted == Encounter.RULE_19_ABAFT
        return restricted


def rule_19(angles: Angles, word: Encounter, settings: EncounterSettings, abaft: bool = False) -> Encounter:
    """The word of Rule 19(d), for vessels not in sight of one another, in place of the word of Rules 13 to 15.

    `abaft` says that she was abeam or abaft the beam last time.
    """
    if abs(angles.relative_bearing_deg) >= _eased(BEAM_DEG, -1, settings, abaft):
        return Encounter.RULE_19_ABAFT
    return Encounter.RULE_19_OVERTAKEN if word == Encounter.BEING_OVERTAKEN else Encounter.RULE_19_FORWARD


def range_rate(estimate: Estimate, own: OwnMotion) -> tuple[float, float]:
    """How fast the range opens, knots (negative: closes), and its standard deviation; (0, inf) on top of us."""
    east, north = estimate.east_nm - own.east_nm, estimate.north_nm - own.north_nm
    range_nm = hypot(east, north)
    if range_nm == 0.0:
        return 0.0, inf
    east, north = east / range_nm, north / range_nm
    rate = (estimate.east_kn - own.east_kn) * east + (estimate.north_kn - own.north_kn) * north
    vee, ven, vnn = estimate.covariance[7], estimate.covariance[8], estimate.covariance[9]
    variance = vee * east * east + 2 * ven * east * north + vnn * north * north
    return rate, hypot(max(variance, 0.0) ** 0.5, own.velocity_sd_kn)


def _velocity_sd_kn(estimate: Estimate) -> float:
    """The larger axis of the velocity's error ellipse, one standard deviation."""
    vee, ven, vnn = estimate.covariance[7], estimate.covariance[8], estimate.covariance[9]
    return float(max((vee + vnn) / 2 + hypot((vee - vnn) / 2, ven), 0.0) ** 0.5)
