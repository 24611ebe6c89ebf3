"""Takes, answers and verdicts with their evidence."""

from datetime import date, datetime
from enum import StrEnum
from typing import Annotated

import msgspec
from msgspec import Meta

from coldtake.domain.plain import Plain


class Answer(StrEnum):
    """The three honest answers."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot_tell"


class Judge(StrEnum):
    """Who answered."""

    PLAYER = "player"
    TOOL = "tool"


class NoteStatus(StrEnum):
    """What became of a note; PLAYED is one of an improvisation, where nothing was written."""

    RIGHT = "right"
    WRONG = "wrong"
    MISSED = "missed"
    EXTRA = "extra"
    PLAYED = "played"


class Figure(Plain, frozen=True, kw_only=True):
    """One test's figure against its threshold; `passed` is None where it cannot be told.

    value and uncertainty are in `unit`; the uncertainty is a half width (about 95 %)
    least, most : both limits where a value may be too low and too high; None for a single limit,
        and in older verdicts
    measured : False where nobody measures such a test here; value, unit and threshold say nothing
    """

    name: str
    value: float | None
    uncertainty: float | None
    threshold: float
    unit: str
    passed: bool | None
    words: str = ""
    measured: bool = True
    least: float | None = None
    most: float | None = None


class NoteEvidence(Plain, frozen=True, kw_only=True):
    """What was heard of one expected note, or of one extra note.

    id : the passage note's id, or "extra-N"; expected_pitch and expected_beat None for extras
    onset_s, offset_s : seconds from the start of the recording; None when missed
    pitch : fractional MIDI number; cents : from the expected pitch in the take's own tuning
    deviation_ms : onset against the fitted tempo, late positive
    displaced : clearly off the player's own timing; mistuned : beyond 25 cents from own tuning
    confidence : how probable it is that the status is as told; below one half it cannot be told.
        From line-5 on as measured on rendered takes, before that a rough figure
    """

    id: str
    status: NoteStatus
    expected_pitch: int | None = None
    expected_beat: float | None = None
    onset_s: float | None = None
    offset_s: float | None = None
    pitch: float | None = None
    cents: float | None = None
    deviation_ms: float | None = None
    displaced: bool = False
    mistuned: bool = False
    confidence: float = 1.0
    words: str = ""


class Restart(Plain, frozen=True, kw_only=True):
    """The player went back: when in the recording, and to which beat of the passage.

    from_beat : how far play had come, None in older verdicts
    """

    at_s: float
    to_beat: float
    from_beat: float | None = None


class StumbleKind(StrEnum):
    """How play did not go on evenly; REPEATED is going back by a beat or less."""

    HESITATION = "hesitation"
    RESTART = "restart"
    REPEATED = "repeated"
    UNEVEN = "uneven"


class Stumble(Plain, frozen=True, kw_only=True):
    """A place at which play did not go on evenly.

    note_id : the note that came late, was gone back to, or begins the bar; at_s : in the recording
    beat : of the passage; length_beats, length_s : of the wait, of what was played again, of the
        bar; None where it has none or is not known
    scatter_ms : of an uneven bar, its onsets' standard deviation from the player's own tempo
    confidence : 0..1
    """

    kind: StumbleKind
    note_id: str
    at_s: float
    beat: float
    confidence: float
    length_beats: float | None = None
    length_s: float | None = None
    scatter_ms: float | None = None


class ClickTrack(Plain, frozen=True, kw_only=True):
    """The clicks made during a take, in seconds of its recording; negative is before its start.

    first_s : click 0; every_s : from click to click, > 0; unit_beats : that in quarters, > 0
    music_s : when the passage was to begin
    per_bar, accent : clicks in a bar (0: no accents) and the first accented one; count : in all,
    None until the take's end; is_guess : only the tempo is known, first_s and accents are not
    """

    first_s: float
    every_s: Annotated[float, Meta(gt=0.01)]
    unit_beats: Annotated[float, Meta(gt=0)] = 1.0
    music_s: float = 0.0
    per_bar: int = 0
    accent: int = 0
    count: int | None = None
    is_guess: bool = False

    @property
    def beat_s(self) -> float:
        """Seconds a quarter."""
        return self.every_s / self.unit_beats

    @property
    def bpm(self) -> float:
        """Quarters a minute."""
        return 60.0 / self.beat_s


class ClickHeard(Plain, frozen=True, kw_only=True):
    """The click as it was heard in a recording.

    delay_start_ms, delay_end_ms : from the making of a click to its sound in the recording
    level_db : its peak against the loudest moment of the music; clicks : how many were looked at
    steady : one delay held throughout, so that timing is told against the click
    """

    delay_start_ms: float
    delay_end_ms: float
    error_ms: float
    level_db: float
    clicks: int
    steady: bool


class ChordHeard(Plain, frozen=True, kw_only=True):
    """What was improvised over one chord of the changes.

    chorus, bar_index : both from 0; bar of the passage as played; symbol : as the player reads it
    onset_beats : in the passage, quarters; from_s, to_s : in the recording
    sounded, in_scale : shares 0..1 of its time that sounded, of the sounded that is in `scale`;
    None where nothing sounded or it cannot be told
    on_strong, chord_tones : notes heard on strong beats, and chord tones of them
    arrived : whether a third or seventh sounded within a beat of the change; None where none is
    asked or nothing sounded
    """

    chorus: int
    bar_index: int
    symbol: str
    onset_beats: float
    beats: float
    from_s: float
    to_s: float
    notes: int
    sounded: float
    in_scale: float | None
    scale: str = ""
    on_strong: int = 0
    chord_tones: int = 0
    arrived: bool | None = None


class Rendition(Plain, frozen=True, kw_only=True):
    """How the player chose to play the passage, where custom leaves it open.

    left_out_bars : indices of the bars, as written out, of repeats that were not taken
    semitones : all of it, or one staff alone, so much higher than written, whole octaves
    staff : which one, 1 the upper; None: all
    """

    left_out_bars: tuple[int, ...] = ()
    semitones: int = 0
    staff: int | None = None


class Reference(Plain, frozen=True, kw_only=True):
    """The take with which another one was compared, where nothing is written.

    first_s : where beat 0 of the evidence lies in its recording; beat_s : seconds a beat there
    """

    take_id: str
    first_s: float
    beat_s: Annotated[float, Meta(gt=0)]

    def at_s(self, beat: float) -> float:
        """Where a beat of the evidence lies in the reference's recording [s]."""
        return self.first_s + self.beat_s * beat


class Verdict(Plain, frozen=True, kw_only=True):
    """A judged take. Same file, passage, criterion and engine give the same verdict.

    chords : of an improvisation, in the order of playing
    tempo_curve : (beat, quarters per minute) along the passage
    click : the click as it was heard in the recording, None where there was none to hear
    obstacle : code of what stood in the way of telling, empty where nothing did or it has none
    rendition : None: as written
    stumbles : in order of time, whatever the criterion asks; older verdicts have none
    reference : the take it was compared with; None where something written was
    """

    answer: Answer
    reason: str
    tempo_bpm: float | None
    tests: tuple[Figure, ...]
    notes: tuple[NoteEvidence, ...]
    engine: str
    remedy: str = ""
    tuning_cents: float | None = None
    restarts: tuple[Restart, ...] = ()
    abstained: tuple[str, ...] = ()
    tempo_curve: tuple[tuple[float, float], ...] = ()
    click: ClickHeard | None = None
    chords: tuple[ChordHeard, ...] = ()
    obstacle: str = ""
    rendition: Rendition | None = None
    stumbles: tuple[Stumble, ...] = ()
    reference: Reference | None = None

    def said(self) -> "Verdict":
        """Return it without notes, chords and curve: these are long, and stay in the log."""
        return msgspec.structs.replace(self, notes=(), tempo_curve=(), chords=())


class EarlierVerdict(msgspec.Struct, frozen=True, kw_only=True):
    """What an engine said before another one, or the same one again, was asked."""

    engine: str
    answer: Answer
    reason: str


class FirstTry(StrEnum):
    """Whether a take that came by hand was its step's first try of the day, as the player says."""

    YES = "yes"
    NO = "no"
    NOT_SAID = "not_said"


class NewTake(msgspec.Struct, frozen=True, kw_only=True):
    """What is said of a take beside its sound, when it comes in.

    take_id : None where whoever sends it has none; at : the instant at which it began, aware, None
    for now; day : None for the practice day of `at`
    click : when the clicks were made, in seconds of the recording
    first_try : of that day, where the player says; None where it belongs to a session, whose log
    tells
    to_judge : False where it is only to be kept
    """

    step_id: str
    take_id: str | None = None
    session_id: str | None = None
    slot_id: str | None = None
    at: datetime | None = None
    day: date | None = None
    click_bpm: float | None = None
    click: ClickTrack | None = None
    source: str = "microphone"
    first_try: FirstTry | None = None
    to_judge: bool = True


class JudgingFault(StrEnum):
    """Why judging a take came to nothing.

    FAULT : of Coldtake itself; TIME, MEMORY : more than its limit; END : the process that listens
    died over it; SOUND : the kept recording cannot be read
    """

    FAULT = "fault"
    TIME = "time"
    MEMORY = "memory"
    END = "end"
    SOUND = "sound"


class Unjudged(msgspec.Struct, frozen=True, kw_only=True):
    """That judging failed: which engine last, why, when, and how often that engine so far."""

    engine: str
    why: JudgingFault
    at: datetime
    times: int = 1


class Take(msgspec.Struct, frozen=True, kw_only=True):
    """A recorded try. The sound lies beside the log as FLAC, named by its id.

    cold : the first try of its step that day, before any work on it; first_try : what the player
    said of that, None where the log tells; it is no cold take as long as nothing is said
    to_judge : False where it was only to be kept
    failed : since the last verdict, judging came to nothing
    verdict : the last one given, which counts; in the state only what it `said`, all of it is in
        the event `judged_by`
    earlier : those before it, oldest first
    """

    id: str
    step_id: str
    at: datetime
    day: date
    cold: bool
    duration_s: float
    sample_rate: int
    sha256: str
    session_id: str | None = None
    slot_id: str | None = None
    click_bpm: float | None = None
    click: ClickTrack | None = None
    source: str = "microphone"
    first_try: FirstTry | None = None
    to_judge: bool = True
    failed: Unjudged | None = None
    verdict: Verdict | None = None
    earlier: tuple[EarlierVerdict, ...] = ()
    judged_by: str | None = None


class Correction(msgspec.Struct, frozen=True, kw_only=True):
    """The player put their answer right: what it was, and when."""

    was: Answer
    at: datetime


class Try(msgspec.Struct, frozen=True, kw_only=True):
    """One answered try at a step's criterion.

    cold : derived; the first try of that step that day, before any work on it
    heard : what the tool said when the player answered the same try; the player's answer counts
    corrected : the player's answers before this one, oldest first
    run_id : the run of a whole piece that said it, which asked for one chance from start to end
    """

    id: str
    step_id: str
    at: datetime
    day: date
    answer: Answer
    judge: Judge
    cold: bool
    session_id: str | None = None
    slot_id: str | None = None
    take_id: str | None = None
    tempo_bpm: float | None = None
    heard: Answer | None = None
    corrected: tuple[Correction, ...] = ()
    run_id: str | None = None


class Work(msgspec.Struct, frozen=True, kw_only=True):
    """Minutes really played on a step in one slot, or in a run (fractions allowed)."""

    step_id: str
    at: datetime
    day: date
    minutes: float
    session_id: str | None = None
    run_id: str | None = None
