"""Staves on a page, found and straightened.

Five lines at equal distance answer to a comb laid down the page; where many columns side by side
answer, a staff runs, and it is followed to the left and to the right along its curve. Straightened
it has 10 pixels a space and its middle line in the middle, however the page was bent.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from coldtake.music.print.paper import Ink
from coldtake.music.print.symbols import HEIGHT_PX, SPACE_PX

Numbers = NDArray[np.floating]
_WORKING_PX = 12.0  # distance of two staff lines when staves are looked for
_SPACES = (4, 60)  # distances of two lines that can be told on a page [pixels]
_SCALES = np.arange(0.84, 1.17, 0.04)  # of the page's own distance
_ANSWER = 0.14  # of the comb, where a staff may be
_SHARE = 0.4  # of the answer of the clearest staff of the page
_STRONG = 0.7  # of a staff's columns answer so; ledger lines and beams do here and there
_APART = 4.6  # no two middle lines lie nearer to one another [spaces]
_SHORTEST = 14  # a staff is longer than this [spaces]
_ANGLES = np.arange(-6.0, 6.01, 0.5)  # degrees
_ROOM = 1.5  # spaces kept left and right of a staff
STAVES_MOST = 60
_ENOUGH = 40  # spaces of staves, so that the page is not tried on its side


@dataclass(frozen=True)
class FoundStaff:
    """A staff on the page.

    x, y : its middle line, a point a space, in pixels of `FoundStaves.ink`
    spaces : distance of its lines there
    """

    x: Numbers
    y: Numbers
    spaces: Numbers

    @property
    def space(self) -> float:
        """Distance of its lines in the middle of it."""
        return float(np.median(self.spaces))


@dataclass(frozen=True)
class FoundStaves:
    """A page turned upright, with its staves from the top down.

    turn : quarter turns against the clock that it took; angle_deg : of straightening, after that
    """

    ink: Ink
    staves: tuple[FoundStaff, ...]
    turn: int = 0
    angle_deg: float = 0.0


def find(ink: Ink) -> FoundStaves:
    """Look for staves; none found is no error.

    ink : (rows, columns), upright or lying on its side
    """
    best = FoundStaves(ink, ())
    for turns in (0, 1, 3):
        upright = np.rot90(ink, turns)
        for space in line_distances(upright):
            page, angle = _deskewed(_resized(upright, _WORKING_PX / space))
            sheet = FoundStaves(page, tuple(_staves(page)), turns, angle)
            if _length(sheet) > 1.2 * _length(best):
                best = sheet
        if _length(best) > _ENOUGH:
            break
    return best


def _length(sheet: FoundStaves) -> float:
    return sum(len(s.x) for s in sheet.staves)


def _resized(ink: Ink, scale: float) -> Ink:
    if 0.97 < scale < 1.03:
        return np.ascontiguousarray(ink)
    if scale < 1:
        ink = ndimage.gaussian_filter(ink, 0.42 * (1 / scale - 0.6)) if scale < 0.8 else ink
    found = ndimage.zoom(ink, scale, order=1, grid_mode=True, mode="nearest")
    return np.asarray(found, np.float32)


def line_distances(ink: Ink) -> list[float]:
    """Distances that two staff lines may have [pixels], the likeliest first.

    From the print as it is, and from print smeared along the lines, which noise does not survive.
    """
    smeared = ndimage.uniform_filter1d(ink, 15, axis=1)
    smeared -= ndimage.uniform_filter1d(smeared, 31, axis=0)
    found: list[float] = []
    for black in (ink > 0.4, smeared > 0.12, smeared > 0.06):
        distance = _line_distance(black)
        if distance and all(abs(distance / other - 1) > 0.05 for other in found):
            found.append(distance)
    return found


def _line_distance(black: NDArray[np.bool_]) -> float | None:
    """The commonest sum of a black run and the next white."""
    down = black[:, :: max(1, black.shape[1] // 700)].T
    edges = np.diff(np.pad(down, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    columns, rows = np.nonzero(edges == 1)  # starts of black runs, one column after the other
    sums = np.diff(rows)[np.diff(columns) == 0]
    sums = sums[(sums >= _SPACES[0]) & (sums <= _SPACES[1])]
    if len(sums) < 50:
        return None
    counts = np.bincount(sums, minlength=_SPACES[1] + 3).astype(float)
    near = counts[:-2] + counts[1:-1] + counts[2:]
    # short distances are met with noise more often: what counts is the share of the column
    weight = near[: _SPACES[1] + 1] * np.arange(1, _SPACES[1] + 2)
    at = int(weight.argmax()) + 1
    around = slice(at - 1, at + 2)
    return float((counts[around] * np.arange(at - 1, at + 2)).sum() / counts[around].sum())


def _deskewed(ink: Ink) -> tuple[Ink, float]:
    """Turned so that its lines lie level, when they all slope one way; and by how much."""
    small = ink[:, ::4]
    best, turned = 0.0, -1.0
    x = np.arange(small.shape[1]) * 4
    rows, columns = np.nonzero(small > 0.5)
    if not len(rows):
        return ink, 0.0
    if len(rows) > 400_000:
        pick = slice(None, None, len(rows) // 400_000 + 1)
        rows, columns = rows[pick], columns[pick]
    for angle in _ANGLES:
        level = rows - np.tan(np.radians(angle)) * x[columns]
        counts = np.bincount((level - level.min()).astype(int)).astype(float)
        sharp = float((np.diff(counts) ** 2).sum())
        if sharp > turned:
            turned, best = sharp, float(angle)
    if abs(best) < 0.7:
        return ink, 0.0
    found = ndimage.rotate(ink, best, order=1, reshape=True, mode="constant")
    return np.asarray(found, np.float32), best


def _staves(ink: Ink) -> list[FoundStaff]:
    by_scale = _comb(ink)
    answer = by_scale.max(0)
    wide = ndimage.uniform_filter1d(answer, 9, axis=1)
    found = list[FoundStaff]()
    least = max(_ANSWER, _SHARE * float(np.quantile(wide.max(0), 0.9)))
    for _ in range(3 * STAVES_MOST):
        row, column = np.unravel_index(int(wide.argmax()), wide.shape)
        if wide[row, column] < least or len(found) == STAVES_MOST:
            break
        columns, rows = _followed(answer, int(row), int(column))
        strong = answer[rows.round().astype(int), columns] > least
        if len(columns) >= _SHORTEST and strong.mean() > _STRONG:
            x = (columns + 0.5) * _WORKING_PX
            spaces = _line_spaces(by_scale[:, rows.round().astype(int), columns])
            found.append(FoundStaff(x, _smooth(rows), spaces))
        else:
            columns, rows = np.array([column]), np.array([float(row)])
        reach = round(_APART * _WORKING_PX)
        for c, r in zip(columns, rows.round().astype(int), strict=True):
            wide[max(r - reach, 0) : r + reach, max(c - 4, 0) : c + 5] = 0
            answer[max(r - reach, 0) : r + reach, c] = 0
    return _in_order([s for s in found if _like_the_others(s, found)])


def _line_spaces(answers: NDArray[np.float32]) -> NDArray[np.float64]:
    """Distance of the lines at each column, a straight line through three parts of the staff.

    answers : of the comb, (scales, columns)
    """
    parts = np.array_split(np.arange(answers.shape[1]), 3)
    found = []
    for part in parts:
        mean = answers[:, part].mean(1)
        weight = np.clip(mean - 0.9 * mean.max(), 0, None)
        found.append(_WORKING_PX * float((weight * _SCALES).sum() / weight.sum()))
    line = np.polyfit([part.mean() for part in parts], found, 1)
    return np.asarray(np.polyval(line, np.arange(answers.shape[1])))


def _like_the_others(staff: FoundStaff, all_of_them: list[FoundStaff]) -> bool:
    usual = float(np.median([s.space for s in all_of_them for _ in range(len(s.x))]))
    longest = max(len(s.x) for s in all_of_them)
    return 0.75 < staff.space / usual < 1.33 and len(staff.x) > 0.12 * longest


def _in_order(found: list[FoundStaff]) -> list[FoundStaff]:
    return sorted(found, key=lambda s: float(np.median(s.y)))


def _comb(ink: Ink) -> NDArray[np.float32]:
    """How like five lines around this middle, at each scale; a column a space."""
    step = int(_WORKING_PX)
    columns = ink.shape[1] // step
    strips = ink[:, : columns * step].reshape(ink.shape[0], columns, step).mean(2)
    strips = ndimage.uniform_filter1d(strips, 2, axis=1)
    local = ndimage.uniform_filter1d(strips, 9, axis=0)
    lines = np.clip(strips - 0.75 * local, 0, 0.6)
    lines = ndimage.maximum_filter1d(lines, 3, axis=0)
    between = ndimage.minimum_filter1d(strips, 3, axis=0)
    found = []
    for factor in _SCALES:
        space = _WORKING_PX * factor
        teeth = np.stack([_moved(lines, round(k * space)) for k in (-2, -1, 0, 1, 2)])
        gaps = np.stack([_moved(between, round(k * space)) for k in (-1.5, -0.5, 0.5, 1.5)])
        teeth.sort(axis=0)
        value = 0.4 * teeth.mean(0) + 0.6 * teeth[:2].mean(0) - 0.35 * np.median(gaps, axis=0)
        found.append(np.clip(value / 0.42, 0, None).astype(np.float32))
    return np.stack(found)


def _moved(values: Numbers, by: int) -> Numbers:
    """values[row + by] at row."""
    out = np.zeros_like(values)
    height = len(values)
    if abs(by) < height:
        a, b = max(0, by), min(height, height + by)
        out[a - by : b - by] = values[a:b]
    return out


def _followed(
    answer: NDArray[np.float32], row: int, column: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Columns and rows of a staff's middle, from one place of it to both ends."""
    path = {column: float(_near(answer, column, row, 3)[0])}
    for way in (-1, 1):
        at, slope, weak = path[column], 0.0, 0
        c, last_good = column + way, column
        while 0 <= c < answer.shape[1]:
            place, value = _near(answer, c, at + slope, 3)
            if value < 0.6 * _ANSWER:
                weak += 1
                at += slope
                if weak > 5:
                    break
            else:
                slope = 0.8 * slope + 0.2 * (place - at)
                at, weak, last_good = place, 0, c
            path[c] = at
            c += way
        for c in [c for c in path if (c - last_good) * way > 0]:
            del path[c]
    columns = np.array(sorted(path))
    return columns, np.array([path[c] for c in columns])


def _near(answer: NDArray[np.float32], column: int, row: float, reach: int) -> tuple[float, float]:
    """The strongest place close to a row: its middle of mass and its value."""
    a = max(round(row) - reach, 0)
    part = answer[a : round(row) + reach + 1, column]
    if not len(part) or part.max() <= 0:
        return row, 0.0
    weight = np.clip(part - 0.7 * part.max(), 0, None)
    return float(a + (weight * np.arange(len(part))).sum() / weight.sum()), float(part.max())


def _smooth(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    calm = ndimage.median_filter(rows, 7, mode="nearest")
    return np.asarray(ndimage.gaussian_filter1d(calm, 3.0, mode="nearest"))


def straightened(sheet: FoundStaves, staff: FoundStaff) -> tuple[Ink, NDArray[np.float64]]:
    """The staff's ink, (176, width) at 10 pixels a space, and the page's column of each column."""
    ratio = staff.space / SPACE_PX
    room = 0.5 * _WORKING_PX + _ROOM * staff.space
    x = np.arange(staff.x[0] - room, staff.x[-1] + room, ratio)
    y = np.interp(x, staff.x, staff.y)
    last = min(6, len(staff.x) - 1)
    slopes = (staff.y[last] - staff.y[0], staff.y[-1] - staff.y[-1 - last])
    y += np.minimum(x - staff.x[0], 0) * slopes[0] / (last * _WORKING_PX)
    y += np.maximum(x - staff.x[-1], 0) * slopes[1] / (last * _WORKING_PX)
    across = np.interp(x, staff.x, staff.spaces)
    found = _sampled(sheet.ink, x, y, across)
    off = _off_the_middle(found)
    if abs(off) > 1:
        found = _sampled(sheet.ink, x, y + off / SPACE_PX * across, across)
    # as black as print is here: a dark table beside the paper has set the whole page's measure
    return np.clip(found / max(float(np.quantile(found, 0.985)), 0.12), 0, 1), x


def _sampled(
    ink: Ink, x: NDArray[np.float64], y: NDArray[np.float64], across: NDArray[np.float64]
) -> Ink:
    rows = (np.arange(HEIGHT_PX) - HEIGHT_PX / 2 + 0.5) / SPACE_PX
    places = np.stack((y + rows[:, None] * across, np.broadcast_to(x, (HEIGHT_PX, len(x)))))
    found = ndimage.map_coordinates(ink, places, order=1, mode="constant")
    return np.clip(found, 0, 1).astype(np.float32)


def _off_the_middle(picture: Ink) -> int:
    """How far below the picture's middle the middle line runs [pixels]; a whole space at times."""
    profile = np.median(np.stack([part.mean(1) for part in np.array_split(picture, 8, axis=1)]), 0)
    lines = ndimage.maximum_filter1d(profile, 3)
    half = HEIGHT_PX // 2

    def clear(off: int) -> float:
        five = [lines[half + off + k * SPACE_PX] for k in (-2, -1, 0, 1, 2)]
        gaps = [profile[half + off + k * SPACE_PX // 2] for k in (-3, -1, 1, 3)]
        return float(0.5 * min(five) + 0.5 * np.mean(five) - np.mean(gaps) - 1e-4 * abs(off))

    return max(range(-24, 25), key=clear)
