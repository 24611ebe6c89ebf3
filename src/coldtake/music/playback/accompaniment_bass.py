"""Bass lines: one rule per feel, each from cells to (onset, length, pitch)."""

from collections.abc import Iterator
from fractions import Fraction

from coldtake.music.playback.accompaniment_spans import Cell

Line = list[tuple[Fraction, Fraction, int]]
LOW, HIGH = 28, 50  # E1 to D3: the double bass below its thumb positions
_MIDDLE = 38
_HALF = Fraction(1, 2)


def held(under: tuple[Cell, ...]) -> Line:
    """The root, as long as the chord lasts in its bar."""
    return [(cell.onset, cell.beats, pitch) for cell, pitch in _rooted(under)]


def root_and_fifth(under: tuple[Cell, ...]) -> Line:
    """Root on one, fifth on three; the root again where the chord is new."""
    line: Line = []
    for cell, pitch in _rooted(under):
        for place in range(0, _whole(cell.beats), 2):
            length = min(Fraction(2), cell.beats - place)
            note = pitch if place % 4 == 0 else _fifth(cell, pitch)
            line.append((cell.onset + place, length * Fraction(9, 10), note))
    return line


def one_and(under: tuple[Cell, ...]) -> Line:
    """The root on one of each bar; where a chord lasts, its fifth in every second bar."""
    line: Line = []
    over = 0
    for cell, pitch in _rooted(under):
        over = 0 if cell.begins else over + 1
        line.append((cell.onset, min(cell.beats, Fraction(1)), _fifth(cell, pitch, over)))
    return line


def rocking(under: tuple[Cell, ...]) -> Line:
    """Root for a beat and a half, then an eighth, to the fifth: the straight two-bar ground."""
    line: Line = []
    for cell, pitch in _rooted(under):
        for place in range(0, _whole(cell.beats), 2):
            note = pitch if place % 4 == 0 else _fifth(cell, pitch)
            other = _fifth(cell, pitch) if place % 4 == 0 else pitch
            long = min(Fraction(3, 2), cell.beats - place)
            line.append((cell.onset + place, long, note))
            if cell.beats - place >= 2:
                line.append((cell.onset + place + Fraction(3, 2), _HALF, other))
    return line


def walking(under: tuple[Cell, ...]) -> Line:
    """A note on every beat: the root first, then chord tones towards a step before the next."""
    rooted = list(_rooted(under))
    line: Line = []
    for place, (cell, pitch) in enumerate(rooted):
        following = rooted[place + 1] if place + 1 < len(rooted) else rooted[0]
        path = _walk(cell, pitch, following[0], following[1], _whole(cell.beats))
        for beat, note in enumerate(path):
            length = min(Fraction(1), cell.beats - beat)
            line.append((cell.onset + beat, length * Fraction(19, 20), note))
    return line


def _whole(beats: Fraction) -> int:
    """Beats begun."""
    return max(1, -(-beats.numerator // beats.denominator))


def _rooted(under: tuple[Cell, ...]) -> Iterator[tuple[Cell, int]]:
    """Each sounding cell with its lowest tone, near the one before and never far from home."""
    before = _MIDDLE
    for cell in under:
        if not cell.sounds:
            continue
        choices = _pitches(cell.bass_class)
        near = (2 * before + _MIDDLE) / 3
        before = min(choices, key=lambda p: (abs(p - near), p))
        yield cell, before


def _pitches(pitch_class: int) -> list[int]:
    return [p for p in range(LOW, HIGH + 1) if p % 12 == pitch_class]


def _fifth(cell: Cell, root: int, over: int = 1) -> int:
    """The chord's own fifth (flat or sharp where it says so), below if there is room.

    over : even leaves the root. A chord without a fifth, or over another bass, keeps its root.
    """
    own = next((w.semitones for w in cell.chord.ways if w.steps == 4), None)
    if over % 2 == 0 or own is None or cell.chord.bass or cell.chord.below:
        return root
    below = root + own - 12
    return below if below >= LOW else root + own


def _walk(cell: Cell, root: int, following: Cell, goal: int, beats: int) -> list[int]:
    """So many notes from a root towards a step before the next one."""
    if beats == 1:
        return [root]
    tones = sorted(
        p for p in range(LOW, HIGH + 1) if p % 12 in cell.chord.pitch_classes and p != root
    )
    if cell.same_bass == following.same_bass and cell.bar != following.bar:
        return _round_trip(root, tones, beats)
    last = _approach(cell, root, goal, beats)
    path = [root]
    for place in range(1, beats - 1):
        ideal = root + (last - root) * place / (beats - 1)
        free = [p for p in tones if p not in (path[-1], last)] or tones or [root]
        path.append(min(free, key=lambda p: (abs(p - ideal), p)))
    return [*path, last]


def _approach(cell: Cell, root: int, goal: int, beats: int) -> int:
    """A step below or above the next root: from the side one comes from; never the root itself."""
    up = goal > root or (goal == root and root < _MIDDLE)
    sides = [goal - 1, goal + 1, goal - 2, goal + 2] if up else [goal + 1, goal - 1, goal + 2]
    inside = [p for p in sides if LOW <= p <= HIGH and p != root]
    if beats == 2:  # only two notes: a chord tone or scale step sounds better than a clash
        friendly = [p for p in inside if p % 12 in cell.chord.pitch_classes]
        return (friendly or inside)[0]
    return inside[0]


def _round_trip(root: int, tones: list[int], beats: int) -> list[int]:
    """Up (or down) the chord and back, where the same chord goes on."""
    up = [p for p in tones if root < p <= root + 12]
    down = [p for p in reversed(tones) if root - 12 <= p < root]
    way = up if root <= _MIDDLE and up else down or up
    if not way:
        return [root] * beats
    turn = beats // 2 + 1
    rising = [root, *way[: turn - 1]]
    back = list(reversed(rising[1:-1])) or [way[0]]
    return [*rising, *back, *([root] * beats)][:beats]
