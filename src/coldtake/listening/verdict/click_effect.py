"""What the click in a recording means for the verdict: taken out, no notes of its own, a grid.

- A click that is heard is taken out before anything else listens.
- What is left of one (a room's echo) is no note: a short extra tone that begins at a click does not
  count. A written note is never excused, whatever its place.
- Timing is told against the click only where its delay is known and held from start to end;
  otherwise against the player's own tempo, and the figure says so.
"""

from dataclasses import dataclass, replace

from coldtake.domain.take import ClickHeard, ClickTrack
from coldtake.listening.alignment.performance_alignment import NEAR
from coldtake.listening.alignment.performed_notes import PerformanceAlignment, PerformedNote
from coldtake.listening.features.click_track import (
    ACCENT_HZ,
    PLAIN_HZ,
    HeardClicks,
    find_clicks,
    without_clicks,
)
from coldtake.listening.features.tempo import Grid
from coldtake.listening.sources.sound import Sound
from coldtake.music.passage import Passage
from coldtake.units import hz_to_pitch

AIR_S = 0.003  # sound goes a metre in 2.9 ms: the player stands where the microphone does not
LOUD_DB = -20.0  # a click above this against the music is worth headphones
AT_CLICK_S = 0.045  # an extra that begins within this of a click may be what is left of it
SHORT_S, SHORT_ALIKE_S = 0.09, 0.25  # and lasts no longer; with the pitch of the click: the second
CLICK_PITCHES = (hz_to_pitch(PLAIN_HZ), hz_to_pitch(ACCENT_HZ))
PITCH_NEAR = 0.8  # semitones
TO_CLICK = ", compared with the click"
NOT_HEARD = ", compared with your own tempo: the click is not in the recording"
FAINT = ", compared with your own tempo: the click is not heard from start to end"
STEPPED = ", compared with your own tempo: the click shifted during the take"
HEADPHONES = "The click is loud in the recording. Use headphones."


@dataclass(frozen=True)
class ClickEffect:
    """The recording to listen to, and what the clicks in it say."""

    sound: Sound
    track: ClickTrack | None = None
    heard: HeardClicks | None = None

    @property
    def timed_by(self) -> str:
        """What timing is told against, as the end of a sentence; empty without a click."""
        if self.track is None:
            return ""
        if self.heard is None:
            return NOT_HEARD
        if not self.heard.both_ends:
            return FAINT
        return TO_CLICK if self.heard.steady else STEPPED

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the player should know of the click."""
        loud = self.heard is not None and self.heard.level_db > LOUD_DB
        return (HEADPHONES,) if loud else ()

    def grid(self, passage: Passage) -> Grid | None:
        """Where the beats of the passage fall in the recording by the click."""
        track, heard = self.track, self.heard
        if track is None or heard is None or not heard.steady:
            return None
        delay = 0.5 * (heard.delay_start_s + heard.delay_end_s)
        beat_s = track.beat_s
        music_s = track.music_s
        if track.is_guess:
            music_s = track.first_s - _pickup_beats(passage) * beat_s
        return Grid(music_s + delay, beat_s, track.every_s, heard.error_s + AIR_S)

    @property
    def told(self) -> ClickHeard | None:
        """What is kept in the verdict."""
        heard = self.heard
        if heard is None:
            return None
        return ClickHeard(
            delay_start_ms=float(1e3 * heard.delay_start_s),
            delay_end_ms=float(1e3 * heard.delay_end_s),
            error_ms=float(1e3 * heard.error_s),
            level_db=float(heard.level_db),
            clicks=len(heard.times_s),
            steady=bool(heard.steady),
        )


def click_effect(
    sound: Sound, track: ClickTrack | None, click_bpm: float | None = None
) -> ClickEffect:
    """Find the clicks of a take and take them out.

    click_bpm : where only the click's tempo is known, in quarters a minute, a click a quarter
    """
    if track is not None and ends_before_music(track):
        return ClickEffect(sound)  # a count-in alone is nothing to be in time with
    if track is None and click_bpm is not None:
        track = ClickTrack(first_s=0.0, every_s=60.0 / click_bpm, is_guess=True)
    heard = None if track is None else find_clicks(sound, track)
    if heard is None:
        return ClickEffect(sound, track)
    return ClickEffect(without_clicks(sound, heard), track, heard)


def ends_before_music(track: ClickTrack) -> bool:
    """Whether the clicks are a count-in alone."""
    return (
        track.count is not None
        and track.first_s + (track.count - 0.5) * track.every_s < track.music_s
    )


def without_click_notes(
    reading: PerformanceAlignment, passage: Passage, heard: HeardClicks | None
) -> PerformanceAlignment:
    """The reading without extra tones that are only the rest of a click.

    Nor does a click speak for a note: one that begins with a click and was taken for right by the
    growth of its partials alone, while another pitch was heard, cannot be told.
    """
    if heard is None:
        return reading
    kept = {i: _unless_by_click(p, passage, reading, heard) for i, p in reading.kept.items()}
    extras = tuple(e for e in reading.extras if not _is_rest_of_click(e, heard))
    return replace(reading, kept=kept, extras=extras)


def _unless_by_click(
    playing: PerformedNote, passage: Passage, reading: PerformanceAlignment, heard: HeardClicks
) -> PerformedNote:
    pitch = playing.tone.pitch
    if not playing.right or playing.index is None or pitch is None:
        return playing
    off = abs(pitch - passage.notes[playing.index].pitch - reading.tuning)
    if off <= NEAR or heard.nearest_s(playing.onset_s) > AT_CLICK_S:
        return playing
    return replace(playing, right=None)


def _is_rest_of_click(extra: PerformedNote, heard: HeardClicks) -> bool:
    if heard.nearest_s(extra.onset_s) > AT_CLICK_S:
        return False
    pitch = extra.tone.pitch
    alike = pitch is not None and any(abs(pitch - p) < PITCH_NEAR for p in CLICK_PITCHES)
    return extra.offset_s - extra.onset_s < (SHORT_ALIKE_S if alike else SHORT_S)


def _pickup_beats(passage: Passage) -> float:
    """What a first bar shorter than its metre holds; a click is taken to fall on the next."""
    first = passage.bars[0] if passage.bars else None
    if first is None:
        return 0.0
    full = 4.0 * first.metre[0] / first.metre[1]
    return first.length_beats if first.length_beats < full else 0.0
