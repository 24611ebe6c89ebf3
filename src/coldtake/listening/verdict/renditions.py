"""Other ways in which a player may choose to play a passage: repeats left out, another octave.

A repeat is left out as signs have it, or as whole bars written out once more; another octave may
be that of one hand alone.

A take that does not fit the passage as written out is held against these too. One counts only
where it explains the take well and far better, so that no fault is explained away; what was chosen
is told with the verdict.

To play repeats once, or to end at the end of a da capo's first time, is custom (common practice, no
source). The limits are guesses.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from dataclasses import replace as replaced

from msgspec.structs import replace

from coldtake.domain.take import Answer, NoteStatus, Rendition, Verdict
from coldtake.listening.verdict.verdicts import ANOTHER_PASSAGE
from coldtake.music.passage import Bar, Passage, PassageNote

FIT_SHARE = 0.9  # of a rendition's notes that must be right before it counts
FAULTS_SHARE = 0.34  # of the faults as written that may be left
FAULTS_LEAST = 6  # fewer are played wrong, not chosen
OCTAVES = (12, -12)
MANY_FAULTS = 0.25  # share of the notes from which another octave is tried
HANDS = {1: "The upper staff", 2: "The lower staff"}
FEWEST_WRITTEN_OUT = 4  # bars that come again note for note: fewer are a pattern, no repeat
MOST_REPEATS = 3  # single repeats that are tried as left out, besides all of them


@dataclass(frozen=True)
class Chosen:
    """A rendition, and the passage as it is then played; notes keep their ids."""

    rendition: Rendition
    passage: Passage


def as_chosen(written: Verdict, passage: Passage, judge: Callable[[Passage], Verdict]) -> Verdict:
    """Return the verdict on the take as the player chose to play the passage.

    written : the verdict on the passage as written out; judge : judges the take against another
    """
    faults = len(passage.notes) if _is_another(written) else _faults(written)
    another = faults >= MANY_FAULTS * len(passage.notes)
    if not _is_another(written) and (written.answer is not Answer.NO or faults < FAULTS_LEAST):
        return written
    tried = (_judged(c, judge) for c in renditions(passage, octaves=another))
    good = [v for v in tried if _fits(v) and _faults(v) <= FAULTS_SHARE * faults]
    return min(good, key=_faults, default=written)


def _is_another(verdict: Verdict) -> bool:
    return verdict.obstacle == ANOTHER_PASSAGE


def _judged(chosen: Chosen, judge: Callable[[Passage], Verdict]) -> Verdict:
    verdict = judge(chosen.passage)
    reason = f"{verdict.reason} {_words(chosen.rendition)}"
    return replace(verdict, reason=reason, rendition=chosen.rendition)


def _words(rendition: Rendition) -> str:
    if rendition.semitones:
        octave = "higher" if rendition.semitones > 0 else "lower"
        what = HANDS.get(rendition.staff or 0, "It")
        return f"{what} was played an octave {octave} than written."
    bars = len(rendition.left_out_bars)
    return f"Repeats were left out ({bars} bar{'' if bars == 1 else 's'})."


def _faults(verdict: Verdict) -> int:
    return sum(n.status is not NoteStatus.RIGHT for n in verdict.notes)


def _fits(verdict: Verdict) -> bool:
    return bool(verdict.notes) and _faults(verdict) <= (1.0 - FIT_SHARE) * len(verdict.notes)


def renditions(passage: Passage, *, octaves: bool) -> Iterator[Chosen]:
    """Go through the ways to play a passage that custom leaves open, the likeliest first.

    octaves : the whole of it an octave higher or lower too
    """
    for bars in _bar_orders(passage):
        left_out = tuple(b.index for b in passage.bars if b.index not in set(bars))
        yield Chosen(Rendition(left_out_bars=left_out), _with_bars(passage, bars))
    for semitones in OCTAVES if octaves else ():
        yield Chosen(Rendition(semitones=semitones), _moved(passage, semitones))
    staves = sorted({n.staff for n in passage.notes})
    for staff in staves if octaves and len(staves) == len(HANDS) else ():
        for semitones in OCTAVES:
            rendition = Rendition(semitones=semitones, staff=staff)
            yield Chosen(rendition, _moved(passage, semitones, staff))


def _bar_orders(passage: Passage) -> Iterator[tuple[int, ...]]:
    """Indices of the bars that are left when repeats are: all, without the da capo, one each."""
    bars = passage.bars
    repeats = list(_repeats(bars)) or list(_written_out(passage))
    inner = [r for r in repeats if r.stop < len(bars)]
    tail = [r for r in repeats if r.stop == len(bars)]
    seen = set()
    for gone in (repeats, tail, inner, *([r] for r in inner[:MOST_REPEATS])):
        out = {i for r in gone for i in r}
        order = tuple(b.index for b in bars if b.index not in out)
        if gone and order and order not in seen:
            seen.add(order)
            yield order


def _repeats(bars: Sequence[Bar]) -> Iterator[range]:
    """Stretches of bars that may be left out: a repeat's first time, a da capo at the end.

    Where bars come again and something new follows, the first time goes, with its own ending;
    where nothing new follows, the second does.
    """
    labels = [b.label for b in bars]
    place = 0
    while place < len(bars):
        again = next((j for j in range(place + 1, len(bars)) if labels[j] == labels[place]), None)
        if again is None:
            place += 1
        elif set(labels[again:]) <= set(labels[:again]):
            yield range(again, len(bars))
            return
        else:
            yield range(place, again)
            place = again


def _written_out(passage: Passage) -> Iterator[range]:
    """Stretches of bars that come again at once, note for note, before something else."""
    looks = [_look(passage, bar) for bar in passage.bars]
    place, count = 0, len(looks)
    while place < count:
        longest = range((count - place - 1) // 2, FEWEST_WRITTEN_OUT - 1, -1)
        length = next((k for k in longest if _comes_again(looks[place:], k)), 0)
        if length:
            yield range(place, place + length)
        place += 2 * length or 1


def _comes_again(looks: Sequence[object], length: int) -> bool:
    """Whether so many bars come once more, and are no shorter pattern over and over."""
    first = looks[:length]
    pattern = any(first[k:] == first[:-k] for k in range(1, FEWEST_WRITTEN_OUT))
    return not pattern and first == looks[length : 2 * length]


def _look(passage: Passage, bar: Bar) -> tuple[tuple[float, int, float], ...]:
    """What stands in a bar, wherever that is."""
    return tuple(
        (round(n.onset_beats - bar.onset_beats, 3), n.pitch, round(n.duration_beats, 3))
        for n in passage.notes
        if n.bar_index == bar.index
    )


def _with_bars(passage: Passage, kept: Sequence[int]) -> Passage:
    starts: dict[int, float] = {}
    at = 0.0
    for index in kept:
        starts[index] = at
        at += passage.bars[index].length_beats
    moved = {i: starts[i] - passage.bars[i].onset_beats for i in kept}
    notes = [replaced(n, onset_beats=n.onset_beats + moved[n.bar_index])
             for n in passage.notes if n.bar_index in moved]  # fmt: skip
    bars = [replaced(passage.bars[i], onset_beats=starts[i]) for i in kept]
    return replaced(passage, notes=tuple(notes), bars=tuple(bars))


def _moved(passage: Passage, semitones: int, staff: int | None = None) -> Passage:
    def moved(note: PassageNote) -> PassageNote:
        if staff is not None and note.staff != staff:
            return note
        return replaced(note, pitch=note.pitch + semitones)

    notes = sorted(map(moved, passage.notes), key=lambda n: (n.onset_beats, n.pitch))
    return replaced(passage, notes=tuple(notes))
