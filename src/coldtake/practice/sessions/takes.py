"""Takes: the sound is on disk before the log speaks of it; then the listener judges."""

import hashlib
import logging
import math
from datetime import date, datetime
from pathlib import Path

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, PlayerTest
from coldtake.domain.history.misdated import recorded_in
from coldtake.domain.ids import named_id
from coldtake.domain.take import (
    Answer,
    ClickTrack,
    FirstTry,
    Judge,
    JudgingFault,
    NewTake,
    Take,
    Verdict,
)
from coldtake.domain.topic import Step
from coldtake.errors import (
    BusyError,
    JudgingError,
    NotFoundError,
    PassageError,
    RuleError,
    SoundError,
    StoreError,
)
from coldtake.listening.engine import ENGINE
from coldtake.ports import TakeFiles
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.sessions import unjudged
from coldtake.practice.sessions.answers import Answers
from coldtake.practice.sessions.references import why_none
from coldtake.practice.state.log import Log
from coldtake.practice.topics.passages import Passages
from coldtake.subprocesses import ProgressCallback, WorkerCancelled, WorkerFailed

log = logging.getLogger(__name__)

CLICK_MOST_BPM = 400.0  # that of a step's own tempo
CLICK_MOST_S, BAR_MOST = 3600.0, 64  # what a click's times and bar can be
GAPS = "gaps"  # source of a take in which the recording lost a moment
_NO_NOTATION = (
    "This step has no notation to compare the take with.",
    "Add notation to the step, or answer yourself.",
)
_NOTHING_TO_COMPARE = (
    _NO_NOTATION[0],
    "Add notation to the step, use a take as its reference, or answer yourself.",
)
_IS_REFERENCE = (
    "This is the reference take. The other takes of this step are compared with it.",
    "Answer for this take yourself.",
)
_REFERENCE_MISSING = (
    "The recording of the reference take is missing.",
    "Use another take as the reference, or answer yourself.",
)
NOT_HEARD = "practice"  # stands as the engine of verdicts for which nobody listened


class Takes:
    """Use cases of recorded tries. The player's own answer stands beside the tool's."""

    def __init__(self, log: Log, files: TakeFiles, passages: Passages) -> None:
        self._log = log
        self._files = files
        self._passages = passages
        self._answers = Answers(log)
        self._outdated: tuple[int, tuple[str, ...]] = (-1, ())

    @needs(Action.PLAY)
    def keep(self, sound: bytes, new: NewTake, filename: str = "") -> Take:
        """Keep a take's sound as FLAC, then its event. Raises SoundError, StoreError, RuleError.

        Where its instant or day cannot be, the take waits for its day (`is_misdated`). Keeping the
        same take_id twice is fine.
        """
        _check(new)
        take_id = (new.take_id or self._log.new_id()).lower()
        self._log.store.confirm()
        state = self._log.state()
        if take_id in state.takes_deleted:  # a device sends it once more, and may let go of it
            return self._unkept(new, take_id)
        known = state.takes.get(take_id)
        if known and not self._files.damaged(take_id, known.sha256):
            return known
        from coldtake.listening.worker_client import to_flac

        kept = to_flac(sound, filename)
        if known and hashlib.sha256(kept.flac).hexdigest() != known.sha256:
            return known  # another sound than the lost one: its place stays free for that
        sha256 = self._files.keep(take_id, kept.flac)
        said = msgspec.structs.asdict(new) | {"take_id": take_id}
        at, day = said.pop("at"), said.pop("day")
        data = ev.TakeRecorded(
            duration_s=kept.duration_s, sample_rate=kept.rate, sha256=sha256, **said
        )
        with self._log.deciding() as state:  # the same take may be coming in twice at once
            if take_id not in state.takes:
                waits = self._waits(data, at, day)
                if waits is not None:
                    return waits
                self._log.append(data, at=at, day=day)
        return self.get(take_id)

    @needs(Action.PLAY)
    def by_hand(self, step_id: str, said: FirstTry, day: date | None = None) -> FirstTry:
        """Return what is known of the day's first try when a take comes in outside a session.

        A day has one: where the step has had it, further takes are warm. Raises RuleError where
        another one is said to be it.
        """
        day = day or self._log.today()
        if not self._log.state().cold_on(step_id, day):
            return said
        if said is FirstTry.YES:
            raise RuleError(
                f"The first try of {day.isoformat()} is already saved.",
                where="first try of the day",
                remedy="Answer No: this one is a warm take.",
            )
        return FirstTry.NO

    @needs(Action.ANSWER)
    def say_first_try(self, take_id: str, said: FirstTry) -> Take:
        """Keep what the player says of a take that came by hand. Raises RuleError."""
        take = self.get(take_id)
        if take.first_try is None:
            raise RuleError(
                "This take belongs to a session, which knows whether it was the first try.",
                remedy="Nothing was changed.",
            )
        if said is FirstTry.YES and not take.cold:
            said = self.by_hand(take.step_id, said, take.day)
        self._log.append(ev.FirstTrySaid(take_id=take.id, first_try=said), day=take.day)
        return self.get(take_id)

    def _unkept(self, new: NewTake, take_id: str) -> Take:
        """Return what there is to say of a take that was deleted for good."""
        at = new.at or self._log.now()
        return Take(
            id=take_id,
            step_id=new.step_id,
            at=at,
            day=new.day or at.date(),
            cold=False,
            duration_s=0.0,
            sample_rate=0,
            sha256="",
        )

    @needs(Action.ANSWER)
    def answer(self, take_id: str, answer: Answer) -> None:
        """Keep the player's answer to a take, or put theirs right. Raises NotFoundError."""
        self._answers.give(self.get(take_id), answer)

    @needs(Action.SEE)
    def is_misdated(self, take_id: str) -> bool:
        """Say whether a take waits for its day: it cannot be judged before it has it."""
        waiting = (recorded_in(entry) for entry in self._log.state().misdated.values())
        return any(one is not None and one.take_id == take_id for one in waiting)

    def _waits(self, data: ev.TakeRecorded, at: datetime | None, day: date | None) -> Take | None:
        """Let a take wait whose instant or day cannot be; None for every other."""
        at = at or self._log.now()
        day = day or at.date()
        wrong = self._log.misdating(at, day)
        if wrong is None:
            return None
        own_id = named_id("take", data.take_id)  # the same when it is sent again
        event = ev.Event(id=own_id, at=at, day=day, data=data)
        self._log.keep([self._log.as_misdated(event, wrong)])
        return Take(
            id=data.take_id,
            step_id=data.step_id,
            at=at,
            day=day,
            cold=False,
            duration_s=data.duration_s,
            sample_rate=data.sample_rate,
            sha256=data.sha256,
        )

    @needs(Action.JUDGE)
    def judge(self, take_id: str, tell: ProgressCallback | None = None) -> Verdict:
        """Return a take's verdict, listening if nobody has yet. Raises NotFoundError."""
        verdict = self.get(take_id).verdict
        return verdict or self.rejudge(take_id, tell)

    @needs(Action.JUDGE)
    def rejudge(self, take_id: str, tell: ProgressCallback | None = None) -> Verdict:
        """Listen to a take (again) and keep the verdict; the last one counts.

        tell : is told how far it has come (0..1); False stops it, and nothing is kept, and
        WorkerCancelled is raised. Raises JudgingError where judging failed, once the log says so;
        NotFoundError without its step or its sound.
        """
        take = self.get(take_id)
        step = lookup.step(self._log.state(), take.step_id)
        try:
            verdict = self._listen(take, step, tell)
        except (WorkerCancelled, NotFoundError, StoreError, BusyError):
            raise
        except Exception as fault:
            raise self._failed(take, fault) from fault
        with self._log.deciding():
            self._note(take, ev.TakeJudged(take_id=take.id, verdict=verdict))
            answers = self._answers_of(take, step.criterion, verdict)
            if answers:
                # At the take's own instant, so that "first try of the day" stays what it was.
                self._log.append(*answers, at=take.at, day=take.day)
        return verdict

    def _note(self, take: Take, data: ev.TakeJudged | ev.JudgingFailed) -> None:
        """Note what judging came to. Raises NotFoundError where the take was deleted meanwhile."""
        with self._log.deciding() as state:
            lookup.take(state, take.id)
            # The clock of whoever recorded may be ahead of ours: a verdict never precedes its take.
            self._log.append(data, at=max(self._log.now(), take.at), day=take.day)

    def _failed(self, take: Take, fault: Exception) -> JudgingError:
        """Note in the log that judging failed, so that every page and the next start know."""
        why = _why(fault)
        if why is JudgingFault.FAULT:
            log.error("judging take %s failed", take.id, exc_info=fault)
        self._note(take, ev.JudgingFailed(take_id=take.id, engine=ENGINE, why=why))
        said = unjudged.why_failed(self.get(take.id), ENGINE)
        return JudgingError("Judging this take failed.", remedy=said)

    @needs(Action.SEE)
    def waiting(self, before: datetime | None = None) -> tuple[str, ...]:
        """Return the takes without a verdict that are judged at the next start, at `before`."""
        return unjudged.waiting(self._log.state(), ENGINE, before)

    @needs(Action.SEE)
    def why_unjudged(self, take: Take) -> unjudged.WhyUnjudged:
        """Say why a take has no verdict."""
        try:
            there = bool(self._files.path(take.id))
        except NotFoundError:
            there = False
        return unjudged.why_unjudged(self._log.state(), take, ENGINE, there=there)

    @needs(Action.SEE)
    def why_failed(self, take: Take) -> str:
        """Say why judging a take failed since its last verdict; nothing where it did not."""
        return unjudged.why_failed(take, ENGINE)

    @needs(Action.SEE)
    def outdated(self) -> tuple[str, ...]:
        """Return the takes whose verdict an older listener gave, newest first."""
        upto = self._log.store.last_sequence()
        if self._outdated[0] != upto:  # going through all takes reads ten years
            takes = (t for past in self._log.state().pasts.values() for t in past.takes)
            old = [t for t in takes if t.verdict and t.verdict.engine not in (ENGINE, NOT_HEARD)]
            newest_first = sorted(old, key=lambda t: t.at, reverse=True)
            self._outdated = (upto, tuple(t.id for t in newest_first))
        return self._outdated[1]

    @needs(Action.HEAR)
    def sound(self, take_id: str) -> Path:
        """Return the FLAC file of a take. Raises NotFoundError."""
        self.get(take_id)
        return self._files.path(take_id)

    @needs(Action.SEE)
    def damaged(self, take_id: str) -> bool:
        """Say whether a take's file is missing or differs from its checksum."""
        return self._files.damaged(take_id, self.get(take_id).sha256)

    @needs(Action.SEE)
    def get(self, take_id: str) -> Take:
        """Return a take, its verdict with all the evidence. Raises NotFoundError."""
        take = lookup.take(self._log.state(), take_id)
        return msgspec.structs.replace(take, verdict=lookup.whole_verdict(self._log.store, take))

    def _listen(self, take: Take, step: Step, tell: ProgressCallback | None) -> Verdict:
        reason, remedy = _why_not_heard(step)
        if reason:
            return _cannot_tell(reason, remedy)
        if step.exercise.passage is None:
            return self._compare(take, step, tell)
        try:
            passage = self._passages.of_step(step)
        except PassageError as fault:
            return _cannot_tell(fault.what, fault.remedy)
        assert passage is not None
        ref = step.exercise.passage
        stored = self._log.state().passages.get(ref.passage_id) if ref else None
        if stored is not None and stored.to_compare:
            return _cannot_tell(
                "The notation was read from print and is not compared with its page yet.",
                "Open the notation and compare it. Then have the take judged again.",
            )
        from coldtake.listening.judging_request import JudgingRequest
        from coldtake.listening.worker_client import judge

        tempo_bpm = step.exercise.tempo_bpm
        asked = JudgingRequest(passage, step.criterion, take.click, take.click_bpm, tempo_bpm)
        path = self._files.path(take.id)
        verdict = judge(path, asked, duration_s=take.duration_s, tell=tell)
        return _with_a_hole(verdict) if take.source == GAPS else verdict

    def _compare(self, take: Take, step: Step, tell: ProgressCallback | None) -> Verdict:
        """Judge a take of a step without notation against its reference take."""
        reference = self._log.state().reference_of(step)
        if why_none(step):
            return _cannot_tell(*_NO_NOTATION)
        if reference is None:
            return _cannot_tell(*_NOTHING_TO_COMPARE)
        if reference.id == take.id:
            return _cannot_tell(*_IS_REFERENCE)
        try:
            right = self._files.path(reference.id)
        except NotFoundError:
            return _cannot_tell(*_REFERENCE_MISSING)
        from coldtake.listening.judging_request import JudgingRequest, ReferenceTake
        from coldtake.listening.worker_client import judge
        from coldtake.music.passage import NOTHING_WRITTEN

        known = ReferenceTake(reference.id, str(right), reference.click, reference.click_bpm)
        asked = JudgingRequest(
            NOTHING_WRITTEN, step.criterion, take.click, take.click_bpm, reference=known
        )
        together_s = take.duration_s + reference.duration_s
        path = self._files.path(take.id)
        verdict = judge(path, asked, duration_s=together_s, tell=tell)
        return _with_a_hole(verdict) if take.source == GAPS else verdict

    def _answers_of(
        self, take: Take, criterion: Criterion, verdict: Verdict
    ) -> tuple[ev.TryAnswered | ev.AnswerTakenBack, ...]:
        """Return what the tool's verdict says about the try: nothing where the player must say.

        With tests that only the player can answer, a heard "yes" is not yet an answer; an earlier
        answer of the tool alone is then taken back.
        """
        needs_player = len(criterion.heard) < len(criterion.tests)
        if needs_player and verdict.answer is Answer.YES:
            known = self._log.state().tries.get(take.id)
            alone = known is not None and known.judge is Judge.TOOL
            return (ev.AnswerTakenBack(try_id=take.id),) if alone else ()
        answer = ev.TryAnswered(
            try_id=take.id,
            step_id=take.step_id,
            answer=verdict.answer,
            judge=Judge.TOOL,
            session_id=take.session_id,
            slot_id=take.slot_id,
            take_id=take.id,
            tempo_bpm=verdict.tempo_bpm,
        )
        return (answer,)


def _why(fault: Exception) -> JudgingFault:
    if isinstance(fault.__cause__, WorkerFailed):
        return JudgingFault(fault.__cause__.why)
    return JudgingFault.SOUND if isinstance(fault, SoundError) else JudgingFault.FAULT


def _check(new: NewTake) -> None:
    """Raise RuleError for what would make a take's event unfit for the log."""
    at, click_bpm, click = new.at, new.click_bpm, new.click
    if at is not None and at.tzinfo is None:
        raise RuleError(
            f"The instant {at.isoformat()} has no zone.", where="at", remedy="Send it with one."
        )
    if click_bpm is not None and not 0.0 < click_bpm <= CLICK_MOST_BPM:
        raise RuleError(
            f"A click of {click_bpm:g} beats per minute is not possible.",
            where="click_bpm",
            remedy=f"Send a tempo up to {CLICK_MOST_BPM:g}, or none.",
        )
    if click is not None and not _may_be(click):
        raise RuleError(
            "The times of the clicks are no times within a take.",
            where="click",
            remedy="Send them in seconds from the start of the recording, or none.",
        )


def _may_be(click: ClickTrack) -> bool:
    times = (click.first_s, click.every_s, click.music_s, click.unit_beats)
    near = all(math.isfinite(t) and abs(t) <= CLICK_MOST_S for t in times)
    return near and 0 <= click.accent <= max(click.per_bar, 0) <= BAR_MOST


def _with_a_hole(verdict: Verdict) -> Verdict:
    """A lost moment sounds like a missed note or a stop: what was heard carries a yes, not a no."""
    if verdict.answer is not Answer.NO:
        return verdict
    return msgspec.structs.replace(
        verdict,
        answer=Answer.CANNOT_TELL,
        reason="A part of this take was lost while recording. So Coldtake cannot say no.",
        remedy="Close other programs on this device and record again, or answer yourself.",
    )


def _why_not_heard(step: Step) -> tuple[str, str]:
    """Return (reason, remedy) when there is nothing to listen for, else empty words."""
    if all(isinstance(test, PlayerTest) for test in step.criterion.tests):
        return "Only you can answer this question.", "Play the take and answer yes or no."
    return "", ""


def _cannot_tell(reason: str, remedy: str) -> Verdict:
    return Verdict(
        answer=Answer.CANNOT_TELL,
        reason=reason,
        remedy=remedy,
        tempo_bpm=None,
        tests=(),
        notes=(),
        engine=NOT_HEARD,
    )
