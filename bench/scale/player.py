"""A player of many years, told through the real events: the same for the same seed and years.

One session a day, 400 topics, 2,000 steps, 60,000 tries and 20,000 takes in ten years, in that
proportion for fewer. Four topics are current at a time; what was met comes back as cold takes.
Records are as long as real ones: a plan of eight slots with reasons, a verdict of 28 notes.
"""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest, TempoTest, Times
from coldtake.domain.estimate import ForecastChance, Interval, SaidTopic
from coldtake.domain.ids import named_id, uuid7
from coldtake.domain.plan import LeftOut, Period, Plan, PlanRequest, PlanRules, Slot, SlotKind
from coldtake.domain.take import Answer, Figure, Judge, NoteEvidence, NoteStatus, Verdict
from coldtake.domain.topic import Exercise, PassageRef, Place, Step, StoredPassage, Topic, TopicKind

DAYS_A_YEAR = 365
TOPICS_A_YEAR, TRIES_A_YEAR, TAKES_A_YEAR = 40, 6000, 2000
STEPS_A_TOPIC = 5
CURRENT = 4
NOTES = 28
LAST = date(2036, 11, 24)
ZONE = ZoneInfo("Europe/Vienna")
HEARD = Criterion(tests=(NotesTest(), TempoTest(mark=72, beat_unit_beats=1.0)), times=Times())
KINDS = (TopicKind.PIECE, TopicKind.TUNE, TopicKind.TECHNIQUE, TopicKind.RHYTHM)
RULES = PlanRules()


class Player:
    """Tells the log of `years`, oldest event first; `events` may be asked for once."""

    def __init__(self, years: int, seed: int = 7, last: date = LAST) -> None:
        self.days = years * DAYS_A_YEAR
        self.years = years
        self.first = last - timedelta(days=self.days - 1)
        self._rng = np.random.default_rng([seed, years])
        self._now = datetime.combine(self.first, time(8), ZONE)
        self._steps: list[list[Step]] = []
        self._worked: dict[str, float] = {}

    def events(self) -> Iterator[ev.Event]:
        """Give the whole log."""
        for index in range(self.days):
            day = self.first + timedelta(days=index)
            self._now = datetime.combine(day, time(8), ZONE)
            if index % DAYS_A_YEAR == 0:
                yield from self._laid_out(day)
            yield from self._moved(index, day)
            self._now = datetime.combine(day, time(17), ZONE)
            yield from self._session(index, day)

    def _event(self, data: ev.AnyData, day: date, wait_s: float = 0.5) -> ev.Event:
        self._now += timedelta(seconds=wait_s)
        return ev.Event(id=self._id(), at=self._now, day=day, data=data)

    def _id(self) -> str:
        return uuid7(int(self._now.timestamp() * 1000), self._rng.bytes(10))

    def _laid_out(self, day: date) -> Iterator[ev.Event]:
        for _ in range(TOPICS_A_YEAR):
            number = len(self._steps)
            topic = named_id("scale topic", str(number))
            passage = StoredPassage(
                id=named_id("scale passage", str(number)),
                title=f"Study {number}",
                format="abc",
                text=_abc(number, self._rng),
            )
            kept = Topic(
                id=topic,
                title=f"Study {number} in {'CDEFGAB'[number % 7]}",
                kind=KINDS[number % len(KINDS)],
                importance=1 + number % 5,
                notes="Slow hands first; the left one leads. " * 4,
            )
            yield self._event(ev.PassageKept(passage=passage), day)
            yield self._event(ev.TopicKept(topic=kept), day)
            steps = [_step(number, n, topic, passage.id) for n in range(STEPS_A_TOPIC)]
            for step in steps:
                yield self._event(ev.StepKept(step=step), day)
            self._steps.append(steps)

    def _turn(self, index: int) -> int:
        """Say how many topics have had their turn before a day."""
        return index * TOPICS_A_YEAR // DAYS_A_YEAR

    def _moved(self, index: int, day: date) -> Iterator[ev.Event]:
        now = self._turn(index)
        for number in range(now - 1, now + CURRENT):
            if 0 <= number < len(self._steps) and (index == 0 or self._turn(index - 1) != now):
                place = Place.LAID_ASIDE if number < now else Place.CURRENT
                topic = self._steps[number][0].topic_id
                yield self._event(ev.TopicPlaced(topic_id=topic, place=place), day)

    def _session(self, index: int, day: date) -> Iterator[ev.Event]:
        plan = self._plan(index, day)
        yield self._event(ev.PlanKept(plan=plan), day)
        yield from self._foretold(index, day, plan)
        run = self._id()
        yield self._event(ev.SessionStarted(session_id=run, plan=plan), day)
        yield self._event(ev.IntentionSet(session_id=run, slot_id=None, words="Long lines."), day)
        tries = _share(index, self.days, TRIES_A_YEAR * self.years)
        takes = _share(index, self.days, TAKES_A_YEAR * self.years)
        colds = sum(s.kind is SlotKind.COLD for s in plan.slots)
        works = len(plan.slots) - colds
        counts = iter(_spread(tries - colds, works))
        for number, period in enumerate(plan.periods):
            if number:
                rest = {"session_id": run, "after_period": number - 1}
                yield self._event(ev.BreakStarted(**rest, planned_s=300.0), day)
                yield self._event(ev.BreakEnded(**rest), day, 300)
            for slot in period.slots:
                count = 1 if slot.kind is SlotKind.COLD else next(counts)
                heard = min(count, max(takes, 0), 2)
                takes -= heard
                yield from self._slot(run, slot, day, count, heard)
        yield self._event(ev.SessionEnded(session_id=run, note="The turn came free."), day)

    def _foretold(self, index: int, day: date, plan: Plan) -> Iterator[ev.Event]:
        """What is said of the day's steps, and once a week of a date eight weeks ahead."""
        ids = dict.fromkeys(slot.step_id for slot in plan.slots)
        chances = tuple(
            ForecastChance(step_id=i, chance=round(0.2 + 0.7 * (n / len(ids)), 3))
            for n, i in enumerate(ids)
        )
        yield self._event(ev.ChancesSaid(for_day=day, chances=chances), day)
        if index % 7 == 0:
            now = self._turn(index)
            topics = tuple(_said(steps, day) for steps in self._steps[now : now + CURRENT])
            yield self._event(ev.OutlookSaid(topics=topics), day)

    def _slot(self, run: str, slot: Slot, day: date, count: int, heard: int) -> Iterator[ev.Event]:
        about = {"session_id": run, "slot_id": slot.id}
        words = "Hear the next bar before it comes."
        yield self._event(ev.IntentionSet(**about, words=words), day)
        about["step_id"] = slot.step_id
        planned_s = 60.0 * slot.minutes
        yield self._event(ev.SlotStarted(**about, planned_s=planned_s), day)
        for n in range(count):
            before = self._worked.get(slot.step_id, 0.0)
            self._worked[slot.step_id] = before + planned_s / 60 / count
            wait_s = planned_s / (count + 1)
            yield from self._try(about, day, wait_s, heard=n < heard)
        yield self._event(ev.SlotEnded(**about, played_s=planned_s), day, planned_s / (count + 1))

    def _try(self, about: dict, day: date, wait_s: float, *, heard: bool) -> Iterator[ev.Event]:
        skill = 1.0 - np.exp(-self._worked[about["step_id"]] / 40.0)
        answer = Answer.YES if self._rng.random() < 0.9 * skill else Answer.NO
        one = self._id()
        told = {**about, "try_id": one, "answer": answer, "tempo_bpm": 72.0}
        if not heard:
            yield self._event(ev.TryAnswered(**told, judge=Judge.PLAYER), day, wait_s)
            return
        sha256 = self._rng.bytes(32).hex()
        taken = {"take_id": one, "duration_s": 12.5, "sample_rate": 48000, "sha256": sha256}
        yield self._event(ev.TakeRecorded(**about, **taken, click_bpm=72.0), day, wait_s)
        verdict = self._verdict(answer)
        yield self._event(ev.TakeJudged(take_id=one, verdict=verdict), day)
        yield self._event(ev.TryAnswered(**told, take_id=one, judge=Judge.TOOL), day)

    def _plan(self, index: int, day: date) -> Plan:
        now = self._turn(index)
        current = [s for steps in self._steps[now : now + CURRENT] for s in steps]
        older = [s for steps in self._steps[max(now - 6, 0) : now] for s in steps]
        cold = [*older, *current]
        colds = [cold[(index * 7 + 3 * n) % len(cold)] for n in range(3)]
        works = [current[(index + n * STEPS_A_TOPIC + n) % len(current)] for n in range(5)]
        first = [_slot(day, s, SlotKind.COLD, 2, n) for n, s in enumerate(colds)]
        slots = [*first, *(_slot(day, s, SlotKind.WORK, 8, n) for n, s in enumerate(works))]
        left = tuple(LeftOut(step_id=s.id, topic_id=s.topic_id, reason=_LEFT) for s in current)
        return Plan(
            id=named_id("scale plan", day.isoformat()),
            request=PlanRequest(day=day, starts_at=time(17), minutes=60),
            rules=RULES,
            periods=(Period(slots=tuple(slots[:5])), Period(slots=tuple(slots[5:]))),
            spare=tuple(_slot(day, s, SlotKind.WORK, 6, 9) for s in current[:2]),
            left_out=left[:12],
            value=12.34,
            bound=12.5,
        )

    def _verdict(self, answer: Answer) -> Verdict:
        off_ms = self._rng.normal(0.0, 18.0, NOTES).round(2).tolist()
        notes = tuple(
            NoteEvidence(
                id=f"n{n}",
                status=NoteStatus.RIGHT,
                expected_pitch=60 + n % 12,
                expected_beat=float(n),
                onset_s=round(0.5 + n * 0.42 + ms / 1000.0, 4),
                offset_s=round(0.9 + n * 0.42, 4),
                pitch=60.02 + n % 12,
                cents=ms / 4.0,
                deviation_ms=ms,
                confidence=0.93,
            )
            for n, ms in enumerate(off_ms)
        )
        return Verdict(
            answer=answer,
            reason="Bar 3: D instead of E." if answer is Answer.NO else "Every note right.",
            tempo_bpm=72.4,
            tests=tuple(
                Figure(
                    name=name,
                    value=1.25,
                    uncertainty=0.5,
                    threshold=2.0,
                    unit=unit,
                    passed=answer is Answer.YES,
                    words="within the limit",
                )
                for name, unit in (("notes", "notes"), ("tempo", "beats per minute"))
            ),
            notes=notes,
            engine="line-1",
            tuning_cents=3.5,
            tempo_curve=tuple((float(b), 72.0 + b % 3) for b in range(16)),
        )


_LEFT = "9 minutes would add 0.4 points; with about 55 more minutes it is in."


def _said(steps: list[Step], day: date) -> SaidTopic:
    return SaidTopic(
        topic_id=steps[0].topic_id,
        on=day + timedelta(days=56),
        clean_steps=Interval(low=1.0, mid=3.0, high=4.0),
        ready_chance=0.212,
        steps=tuple(ForecastChance(step_id=s.id, chance=0.587) for s in steps),
    )


def _share(index: int, days: int, total: int) -> int:
    """Return a day's part of a total, so that all days together make it exactly."""
    return total * (index + 1) // days - total * index // days


def _spread(count: int, among: int) -> list[int]:
    return [count * (n + 1) // among - count * n // among for n in range(among)]


def _step(number: int, n: int, topic: str, passage: str) -> Step:
    return Step(
        id=named_id("scale step", str(number), str(n)),
        topic_id=topic,
        title=f"Bars {4 * n + 1} to {4 * n + 4}",
        criterion=HEARD,
        exercise=Exercise(
            passage=PassageRef(passage_id=passage, first_bar=n + 1, last_bar=n + 2), tempo_bpm=72.0
        ),
        need_min=40 + 10 * (n % 3),
    )


def _slot(day: date, step: Step, kind: SlotKind, minutes: int, n: int) -> Slot:
    return Slot(
        id=named_id("slot", day.isoformat(), step.id, kind, str(n)),
        step_id=step.id,
        topic_id=step.topic_id,
        kind=kind,
        minutes=minutes,
        question="Every note right, at quarter = 72 or faster?",
        goal="Settle it at quarter = 72.",
        reason="Clean on 13 January, in 48 days: 23 % with this, 15 % without; 8 minutes of about "
        f"49 still needed. “{step.title}” was last practised 3 days ago.",
        gain=2.5,
    )


def _abc(number: int, rng: np.random.Generator) -> str:
    bars = ["".join("CDEFGABc"[i] for i in rng.integers(0, 8, 4)) for _ in range(8)]
    return f"X:1\nT:Study {number}\nM:4/4\nL:1/4\nQ:1/4=72\nK:C\n{'|'.join(bars)}|\n"
