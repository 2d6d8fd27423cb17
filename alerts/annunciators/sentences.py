"""Standard alert sentences to other equipment: ALF at each change, ALC and HBT regularly, ARC for a command refused.

For older equipment ALR in place of all of them.
"""

from collections.abc import Sequence

from alerts import identifiers
from alerts.annunciators.face import Telling
from alerts.annunciators.outputs import Output
from alerts.annunciators.settings import Sentences as SentencesSettings
from alerts.events import Alert, Instant
from alerts.notices import Notice, Refused
from alerts.plotting.terms import AlertState, Priority
from parsers import alert_sentences
from parsers.alert_sentences import AlertName, AlertReport

STATES = {
    AlertState.ACTIVE_UNACKNOWLEDGED: "V",
    AlertState.ACTIVE_SILENCED: "S",
    AlertState.ACTIVE_ACKNOWLEDGED: "A",
    AlertState.RECTIFIED_UNACKNOWLEDGED: "U",
    AlertState.NORMAL: "N",
}
PRIORITIES = {Priority.ALARM: "A", Priority.WARNING: "W", Priority.CAUTION: "C"}
LETTERS = {"acknowledge": "A", "request": "Q", "transfer": "O", "silence": "S"}
MOST_KEPT = 1000


class Sentences:
    """Alerts as ALF, ALC, ARC and HBT, or ALR for older equipment (docs/sentences.md says how sure these are)."""

    name = "sentences"

    def __init__(self, settings: SentencesSettings, output: Output) -> None:
        self._settings = settings
        self._output = output
        self._standing: dict[int, Notice] = {}
        self._sequence = 0
        self._list_sequence = 0
        self._beats = 0
        self._listed_s: float | None = None
        self._beaten_s: float | None = None

    def tell(self, batch: Sequence[Telling]) -> bool:
        lines: list[str] = []
        for notice in batch:
            lines += self._of_refusal(notice) if isinstance(notice, Refused) else self._of_notice(notice)
        self._write(lines)
        return bool(lines)

    def idle(self, now_s: float) -> None:
        """The regular ones, when they are due."""
        settings, lines = self._settings, []
        if self._listed_s is None or now_s - self._listed_s >= settings.list_s:
            self._listed_s = now_s
            lines += self._list()
        if not settings.older and (self._beaten_s is None or now_s - self._beaten_s >= settings.heartbeat_s):
            self._beaten_s = now_s
            beat = alert_sentences.hbt(settings.heartbeat_s, normal=True, sequence=self._beats, talker=settings.talker)
            lines.append(beat)
            self._beats += 1
        self._write(lines)

    def close(self) -> None:
        self._output.close()

    # ----------------------------------------------------------------------------------------- sentences

    def _of_notice(self, notice: Notice) -> list[str]:
        alert = notice.alert
        if alert.state is AlertState.NORMAL:
            self._standing.pop(alert.id, None)
        elif alert.id in self._standing or len(self._standing) < MOST_KEPT:
            self._standing[alert.id] = notice
        if self._settings.older:
            return [self._alr(alert)]
        self._sequence += 1
        return list(alert_sentences.alf(self._report(notice), sequence=self._sequence, talker=self._settings.talker))

    def _report(self, notice: Notice) -> AlertReport:
        alert = notice.alert
        _, category, title = identifiers.TITLES[alert.rule]
        return AlertReport(
            name=self._name(notice),
            time_of_day_s=_time_of_day(alert.time),
            category=category,
            priority=PRIORITIES[alert.priority],
            state=STATES[alert.state],
            escalation=notice.escalation,
            title=title,
            description=alert.text,
        )

    def _name(self, notice: Notice) -> AlertName:
        identifier = identifiers.TITLES[notice.alert.rule][0]
        mnemonic = "" if identifier < identifiers.STANDARD_BELOW else self._settings.mnemonic
        return AlertName(mnemonic, identifier, identifiers.instance_of(notice.alert.id), notice.revision)

    def _list(self) -> list[str]:
        if self._settings.older:
            return [self._alr(notice.alert) for notice in self._standing.values()]
        self._list_sequence += 1
        names = [self._name(notice) for notice in self._standing.values()]
        return list(alert_sentences.alc(names, sequence=self._list_sequence, talker=self._settings.talker))

    def _alr(self, alert: Alert) -> str:
        exceeded = alert.state not in (AlertState.NORMAL, AlertState.RECTIFIED_UNACKNOWLEDGED)
        acknowledged = alert.state in (AlertState.NORMAL, AlertState.ACTIVE_ACKNOWLEDGED)
        return alert_sentences.alr(
            _time_of_day(alert.time),
            identifiers.alarm_number(alert.id),
            exceeded=exceeded,
            acknowledged=acknowledged,
            text=alert.text,
            talker=self._settings.talker,
        )

    def _of_refusal(self, refused: Refused) -> list[str]:
        if self._settings.older:
            return []
        command = refused.command
        name = AlertName(command.mnemonic, command.identifier, command.instance or 0, 1)
        letter = LETTERS[command.command]
        return [alert_sentences.arc(_time_of_day(refused.time), name, letter, talker=self._settings.talker)]

    def _write(self, lines: list[str]) -> None:
        if lines:
            self._output.write([f"{line}\r\n".encode("ascii") for line in lines])


def _time_of_day(time: Instant) -> float:
    return time.utc_ms % 86_400_000 / 1000
