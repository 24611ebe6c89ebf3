"""Random passages and how they are played: rows of notes, and what a score would say.

Nothing is taken from a piece: hands of one to five notes move by step and leap through a scale, in
rhythms of their own. A share of the notes is left out, played wrongly or added, so that what the
score expects is never a sure sign of what sounds.
"""

from dataclasses import dataclass

import numpy as np

SEGMENT_S = 4.0
BEFORE_S = 1.2  # notes that ring into the segment
MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)
UNITS = (
    (1.0,), (0.5,), (0.5, 0.5), (2.0,), (0.25,), (1.0, 0.5, 0.5), (0.75, 0.25), (1.5, 0.5),
    (1 / 3,), (0.25, 0.25, 0.5), (1.0, 1.0, 2.0), (0.5, 0.25, 0.25),
)  # fmt: skip


@dataclass(frozen=True)
class Kit:
    """What can be sounded: for each instrument its keys, and notes of the library by key."""

    instruments: np.ndarray
    weights: np.ndarray
    rows_of: dict  # instrument -> (keys, row numbers, layers), ordered by key
    onset_s: np.ndarray
    death_s: np.ndarray
    key: np.ndarray


def kit_of(library, weights: dict, ours: float) -> Kit:
    """`ours` : share of the takes played on invented instruments."""
    numbers = np.unique(library.instrument)
    rows_of = {}
    for n in numbers:
        rows = np.flatnonzero(library.instrument == n)
        rows = rows[np.argsort(library.key[rows], kind="stable")]
        rows_of[int(n)] = (library.key[rows], rows, library.layer[rows])
    w = np.array([float(weights.get(int(n), 1.0)) for n in numbers])
    made = numbers >= 1000
    if made.any() and (~made).any():
        w[made] *= ours / w[made].sum()
        w[~made] *= (1 - ours) / w[~made].sum()
    w /= w.sum()
    return Kit(numbers, w, rows_of, library.onset_s, library.death_s, library.key)


@dataclass
class Note:
    """One written note and its playing; key None: not played. exact_s : heard onset."""

    written: int | None
    written_s: float
    written_stop_s: float
    key: int | None
    start_s: float
    stop_s: float
    loud: float
    row: int = -1
    ratio: float = 1.0


def segment(rng: np.random.Generator, kit: Kit) -> tuple[list[Note], dict]:
    """Notes of one segment; times from its start, some before it."""
    who = int(rng.choice(kit.instruments, p=kit.weights))
    others = [who]
    if rng.random() < 0.15:
        others.append(int(rng.choice(kit.instruments, p=kit.weights)))
    faulty = rng.random() < 0.7
    notes = _written(rng, kit, others)
    played = _played(rng, notes, faulty)
    _find_rows(rng, kit, played)
    return played, {"who": who}


def _written(  # noqa: C901
    rng: np.random.Generator, kit: Kit, others: list[int]
) -> list[tuple]:
    """(seconds, length, key, loudness, instrument number) of the written notes, by hands."""
    beat = 60.0 / rng.uniform(45, 150)
    scale = np.array(MAJOR if rng.random() < 0.6 else MINOR) + int(rng.integers(12))
    hands = int(rng.choice([1, 2, 3, 4], p=[0.25, 0.5, 0.1, 0.15]))
    phase = rng.uniform(0, 2 * beat)
    shape = rng.choice(["plain", "doubled"], p=[0.85, 0.15])
    out = []
    spans = [kit.rows_of[w][0] for w in others]
    low, high = max(s[0] for s in spans), min(s[-1] for s in spans)
    if high - low < 12:
        low, high = spans[0][0], spans[0][-1]
        others[:] = others[:1]
    low, high = _register(rng, int(max(low, 21)), int(min(high, 108)))
    edges = np.linspace(low, high, hands + 1)
    base = rng.normal(0, 3.0, hands)
    pedal = rng.random() < 0.2
    for hand in range(hands):
        a, b = int(edges[hand]) - (4 if hand else 0), int(edges[hand + 1])
        b = min(max(b, a + 10), high)
        keys = np.array([k for k in range(max(a, low), b + 1) if (k - scale[0]) % 12 in
                         (scale - scale[0]) % 12 or rng.random() < 0.06])  # fmt: skip
        if len(keys) < 4:
            continue
        units = UNITS[int(rng.integers(len(UNITS)))]
        most = 1 if hands >= 3 else int(rng.choice([1, 2, 3, 4, 5], p=[0.35, 0.15, 0.2, 0.2, 0.1]))
        legato = rng.choice([0.5, 0.85, 0.97, 1.05], p=[0.15, 0.3, 0.35, 0.2])
        at = int(rng.integers(len(keys)))
        now, n = -BEFORE_S - phase, 0
        style = rng.choice(["step", "leap", "repeat", "block"], p=[0.45, 0.3, 0.1, 0.15])
        chord = np.array([keys[at]])
        while now < SEGMENT_S:
            length = units[n % len(units)] * beat
            n += 1
            if rng.random() < 0.05:
                now += length
                continue
            if not (style == "block" and rng.random() < 0.6):
                if style == "step":
                    at += int(rng.choice([-2, -1, -1, 1, 1, 2]))
                elif style != "repeat" or rng.random() < 0.35:
                    at += int(rng.integers(-5, 6))
                at = int(np.clip(at, 0, len(keys) - 1))
                size = most if rng.random() < 0.6 else int(rng.integers(1, most + 1))
                chord = _chord(rng, keys, at, size)
            stop = now + length * legato
            if pedal:
                stop = max(stop, (np.floor(now / (2 * beat)) + 1) * 2 * beat)
            who = others[hand % len(others)]
            out += [(now, stop, int(key), base[hand], who) for key in chord]
            if shape == "doubled" and hand == 0:
                above = [int(key) + 12 for key in chord if key + 12 <= high]
                out += [(now, stop, key, base[hand], others[0]) for key in above]
            now += length
    seen, unique = {}, []
    for row in sorted(out, key=lambda r: (r[0], r[2])):
        near = (round(row[0], 2), row[2])
        if near not in seen:
            seen[near] = True
            unique.append(row)
    return unique


def _register(rng: np.random.Generator, low: int, high: int) -> tuple[int, int]:
    """Mostly the middle of the instrument, two to four octaves of it; sometimes all."""
    if rng.random() < 0.12:
        return low, high
    width = int(rng.integers(22, 52))
    first = int(rng.normal(60, 8)) - width // 2
    first = int(np.clip(first, low, max(high - width, low)))
    return first, min(first + width, high)


def _chord(rng, keys: np.ndarray, at: int, size: int) -> np.ndarray:
    if size == 1:
        return keys[at : at + 1]
    kind = rng.random()
    near = keys[max(at - 9, 0) : at + 10]
    if kind < 0.55:  # thirds piled up, in any position
        tones = (keys[at] + np.array([0, 3, 4, 7, 10, 11, 12])) % 12
        near = np.array([k for k in near if k % 12 in tones])
    elif kind < 0.75:  # octaves, fifths, thirds: one interval
        other = keys[at] + int(rng.choice([3, 4, 7, 8, 9, 12]))
        return np.array([keys[at], other]) if other <= keys[-1] else keys[at : at + 1]
    if len(near) == 0:
        return keys[at : at + 1]
    found = rng.choice(near, size=min(size, len(near)), replace=False)
    return np.unique(found)


def _played(rng: np.random.Generator, written: list[tuple], faulty: bool) -> list[Note]:
    miss, wrong, extra = (0.07, 0.05, 0.035) if faulty else (0.0, 0.0, 0.0)
    spread = rng.choice([0.002, 0.008, 0.018])
    loose = rng.choice([0.005, 0.015, 0.03])
    shift: dict[float, float] = {}
    gone: dict[float, bool] = {}
    heavy = rng.uniform(0.5, 4.5)
    bass = float(rng.normal(0.5, 2.0))  # dB louder for each octave down
    together: dict[float, set[int]] = {}
    for at, _, key, _, _ in written:
        together.setdefault(round(at, 3), set()).add(key)
    notes = []
    last: dict[int, Note] = {}
    for at, stop, key, level, who in written:
        when = shift.setdefault(round(at, 3), float(rng.normal(0, loose)))
        drop = gone.setdefault(round(at, 3), rng.random() < (0.02 if faulty else 0.0))
        start = at + when + float(np.clip(rng.normal(0, spread), -0.04, 0.04))
        if faulty and rng.random() < 0.02:  # not with its chord, but played
            start += float(rng.uniform(0.05, 0.12) * rng.choice([-1, 1, 1]))
        sounding: int | None = key
        draw = rng.random()
        if drop or draw < miss:
            sounding = None
        elif _covered(key, together[round(at, 3)]) and rng.random() < 3 * miss:
            sounding = None  # the hardest to tell is left out more often
        elif draw < miss + wrong:
            sounding = key + int(rng.choice([-12, -2, -1, 1, 2, 12, 7, -5]))
        note = Note(key, at + when, stop + when, sounding, start, max(stop + when, start + 0.06),
                    level + float(rng.normal(0, heavy)) + bass * (60 - key) / 12)  # fmt: skip
        note.row = who
        _cut_by_again(last, note)
        notes.append(note)
        if rng.random() < extra:
            also = key + int(rng.choice([-12, -2, -1, 1, 2, 12, 3, 5]))
            off = float(rng.choice([0.0, rng.uniform(0.08, 0.3)]))
            more = Note(None, 0.0, 0.0, also, start + off, max(stop + when, start + off + 0.08),
                        level + float(rng.normal(-1, 2)))  # fmt: skip
            more.row = who
            _cut_by_again(last, more)
            notes.append(more)
    return notes


def _covered(key: int, chord: set[int]) -> bool:
    """Whether a lower note of the chord has partials where this one has all or most of its own."""
    return any(key - up in chord for up in (12, 19, 24))


def _cut_by_again(last: dict[int, Note], note: Note) -> None:
    """A key struck again ends its own ringing."""
    if note.key is None:
        return
    before = last.get(note.key)
    if before is not None and before.key is not None:
        if abs(before.start_s - note.start_s) < 0.045:
            note.key = None if note.written is None else note.key
        before.stop_s = min(before.stop_s, note.start_s - 0.005)
        if before.stop_s <= before.start_s:
            before.key = None
    if note.key is not None:
        last[note.key] = note


def _find_rows(rng, kit: Kit, notes: list[Note]) -> None:
    whole = float(rng.normal(0, 0.15))
    layer_first = float(rng.uniform(40, 120))
    for note in notes:
        who = note.row
        keys, rows, layers = kit.rows_of[who]
        if note.key is None:
            note.row = -1
            continue
        if not keys[0] - 2 <= note.key <= keys[-1] + 2 or not 21 <= note.key <= 108:
            note.key, note.row = None, -1
            continue
        # a neighbour's sound now and then: other formants
        strange = rng.normal(0, 1.2, len(keys))
        off = (
            np.abs(keys - note.key + strange) + np.abs(layers - layer_first - 4 * note.loud) / 60.0
        )
        k = int(np.argmin(off))
        note.row = int(rows[k])
        note.ratio = float(2 ** ((note.key - keys[k] + whole + rng.normal(0, 0.03)) / 12))


def table(rng: np.random.Generator, kit: Kit, segments: int, frames: int, step_s: float) -> dict:
    """Everything that the mixing and the loss need of a batch, as arrays."""
    from numpy import zeros

    shape = (segments, frames, 88)
    onset, sounding = zeros(shape, np.float32), zeros(shape, np.uint8)
    expected, score = zeros(shape, np.int8), zeros((segments, 2, frames, 88), np.float32)
    rows = []
    at = np.arange(frames) * step_s
    for s in range(segments):
        notes, _ = segment(rng, kit)
        release = float(10 ** rng.uniform(-1.9, -0.5))
        told = rng.random() < 0.65
        wander = rng.choice([0.006, 0.015, 0.03])
        shift: dict[float, float] = {}
        # now and then the page is another one: what it says must not be believed
        strange = int(rng.choice([-5, -3, -2, -1, 1, 2, 4, 6])) if rng.random() < 0.05 else 0
        struck = [(n.key, n.start_s) for n in notes if n.key is not None]
        for n in notes:
            if n.key is not None:
                d = 10 ** (n.loud / 20)
                rows.append((s, n.row, n.start_s, n.stop_s - n.start_s, d, n.ratio, release))
                heard = n.start_s + kit.onset_s[n.row] / n.ratio
                near = np.maximum(1.0 - np.abs(at - heard) / (3.0 * step_s), 0.0)
                k = n.key - 21
                onset[s, :, k] = np.maximum(onset[s, :, k], near)
                stop = min(n.stop_s + 0.5 * release, n.start_s + kit.death_s[n.row] / n.ratio)
                sounding[s, (at >= heard - 0.5 * step_s) & (at < stop), k] = 1
            if told and n.written is not None:
                _tell(n, strange, struck, at, score[s], expected[s], kit, shift, wander, rng)
    columns = np.array(rows, np.float64)
    return {"notes": columns, "onset": onset, "sounding": sounding, "expected": expected,
            "score": score}  # fmt: skip


def _tell(
    note: Note, strange: int, struck: list, at, score, expected, kit: Kit, shift: dict,
    wander: float, rng,
) -> None:  # fmt: skip
    """Put a written note into the score channels, near its time; mark where it is asked for."""
    moved = shift.setdefault(round(note.written_s, 3), _moved(rng, wander))
    lag = kit.onset_s[note.row] if note.row >= 0 else 0.01
    when = note.written_s + min(lag, 0.15) + moved
    told = note.written + strange
    k = told - 21
    if not 0 <= k < 88:
        return
    score[0, :, k] = np.maximum(score[0, :, k], np.exp(-0.5 * ((at - when) / 0.03) ** 2))
    score[1, (at >= when - 0.02) & (at < note.written_stop_s + moved), k] = 1.0
    played = any(key == told and abs(s - note.written_s) < 0.15 for key, s in struck)
    asked = np.abs(at - when) < 0.02
    expected[asked, k] = 1 if played else -1


def _moved(rng: np.random.Generator, wander: float) -> float:
    if rng.random() < 0.05:
        return float(rng.uniform(-0.09, 0.09))
    return float(rng.normal(0, wander))
