"""Choice, periods and order put together: slots that fit, worth as much as can be.

The choice knows minutes but no periods. Where its slots do not fit into the periods, choices of a
few minutes less are tried; where that costs more than 2 % of the points, minutes and periods are
decided together (`fitting`), and choices with at most one slot for a step are tried, which can
always be put in order. The best is kept. Where nothing fits, slots are left out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from coldtake.domain.plan import PlanRules, SlotKind
from coldtake.planning.day.composition.choice import Choice, DayChoice, Pick, TopicLimits, Wanted
from coldtake.planning.day.composition.fitting import Fitted, Span, fit
from coldtake.planning.day.composition.options import (
    Limits,
    OptionTable,
    free_options,
    longest_work,
    room_of,
    shortest_work,
    with_insisted,
    work_worth,
)
from coldtake.planning.day.composition.order import in_order
from coldtake.planning.day.composition.periods import Layout, layout, room
from coldtake.planning.day.composition.pin_times import minutes_off, on_time
from coldtake.planning.day.composition.placement import place, place_most
from coldtake.planning.day.composition.slot_drafts import PinnedSlot, SlotDraft
from coldtake.planning.day.composition.user_constraints import (
    hard_places,
    least_minutes,
    minutes_by_period,
)
from coldtake.planning.day.going_round import Rotation
from coldtake.planning.value.values import StepValue

_NEAR = 0.02  # share of the choice's points that may be lost before more is tried
_NEARBY_MIN = (-5, 5)  # choices whose steps are tried too
_SLACK_MIN = 1  # minutes that a topic may have more or less for the periods' sake
_FALLS = 6  # so many choices of fewer and fewer minutes are tried
LOOK_FURTHER_MIN = 60  # more minutes that are solved too, to say what would bring a step in


@dataclass(frozen=True, slots=True)
class Task:
    """A day to compose. Rows are steps.

    exercises : texts that say what is played; fresh : whether the step was never played
    closed : rows that have no slots but those insisted on
    open_ones : whether the step is still to be met, so that its topic has something to do
    asked : rows whose cold take is asked for
    rotation : how the topics go round, in the order of `topic_rows`; None where they need not
    """

    values: tuple[StepValue, ...]
    exercises: tuple[str, ...]
    fresh: tuple[bool, ...]
    insisted: Mapping[int, tuple[PinnedSlot, ...]]
    rules: PlanRules
    limits: Limits
    minutes: int
    closed: frozenset[int] = frozenset()
    open_ones: tuple[bool, ...] | None = None
    asked: frozenset[int] = frozenset()
    rotation: Rotation | None = None


@dataclass(frozen=True, slots=True)
class Composed:
    """The slots in their periods and order, and what was solved on the way."""

    periods: tuple[tuple[SlotDraft, ...], ...]
    choice: Choice
    solved: DayChoice
    playing_min: int
    bound: float


def compose(task: Task) -> Composed:
    """Choose and place. Always returns; no periods where nothing can be chosen."""
    insisted = [s for slots in task.insisted.values() for s in slots]
    laid, fixed = _laid_out(task, insisted)
    task = replace(task, insisted=fixed)
    solved = _solved(task, laid.playing_min, plain=False)
    found = _best_fitting(task, solved, laid)
    choice, periods = found or _only_insisted(task, laid)
    bound = max(solved.bound(laid.playing_min), choice.points)
    return Composed(periods, choice, solved, laid.playing_min, bound)


def _ordered(
    task: Task, pieces: Sequence[SlotDraft], where: Sequence[int]
) -> tuple[tuple[SlotDraft, ...], ...]:
    """Order the slots; pinned ones at their place in the row, and at their minute where they can.

    Where they cannot, a place further on or back may do it.
    """
    rest = task.rules.break_min
    made = _on_time(task, in_order(pieces, where, rest))
    off = minutes_off(made, rest)
    if not off:
        return made
    other = _on_time(task, in_order(pieces, where, rest, by_minute=True))
    return other if minutes_off(other, rest) < off else made


def _on_time(
    task: Task, periods: tuple[tuple[SlotDraft, ...], ...]
) -> tuple[tuple[SlotDraft, ...], ...]:
    """Let pinned slots begin at their minute; the worth of what changed its length is told anew."""
    rows = {v.step_id: row for row, v in enumerate(task.values)}

    def reach(piece: SlotDraft) -> tuple[int, int]:
        least = shortest_work(task.limits, fresh=task.fresh[rows[piece.step_id]])
        return min(piece.minutes, least), max(piece.minutes, task.limits.most)

    moved = on_time(
        periods,
        reach,
        period_most=task.rules.period_cap_min,
        minutes=task.minutes,
        break_min=task.rules.break_min,
    )
    if moved == periods:
        return periods
    done: dict[str, int] = {}

    def again(piece: SlotDraft) -> SlotDraft:
        if piece.cold:
            return piece
        value, before = task.values[rows[piece.step_id]], done.get(piece.step_id, 0)
        done[piece.step_id] = before + piece.minutes
        gain = work_worth(value, before + piece.minutes) - work_worth(value, before)
        return replace(piece, gain=gain)

    return tuple(tuple(map(again, period)) for period in moved)


def _solved(task: Task, playing_min: int, *, plain: bool) -> DayChoice:
    table: OptionTable = free_options(
        task.values, task.limits, fresh=task.fresh, open_ones=task.open_ones, plain=plain
    )
    topics = topic_rows(task.values)
    room = tuple(room_of(table, rows) for rows in topics.values())
    if task.insisted:
        table = with_insisted(
            table, task.values, task.insisted, closed=task.closed, fresh=task.fresh, plain=plain
        )
    due = tuple(any(task.values[r].due for r in rows) for rows in topics.values())
    limits = TopicLimits(task.rules.topics_least, task.rules.topics_most)
    budget = playing_min + (0 if plain else LOOK_FURTHER_MIN)
    wanted = Wanted(due, task.asked, task.rotation, room)
    return DayChoice(table, list(topics.values()), wanted, limits, budget)


def topic_rows(values: Sequence[StepValue]) -> dict[str, list[int]]:
    """Rows of each topic's steps; topics in the order of their first rows."""
    topics: dict[str, list[int]] = {}
    for row, value in enumerate(values):
        topics.setdefault(value.topic_id, []).append(row)
    return topics


Fitting = tuple[Choice, tuple[tuple[SlotDraft, ...], ...]]


def _first_fitting(task: Task, solved: DayChoice, laid: Layout, minutes: int) -> Fitting | None:
    """Return the first choice that fits, minutes falling."""
    for _ in range(_FALLS):
        choice = solved.choose(max(minutes, 0))
        if choice is None:
            return None
        periods = _arranged(task, choice, laid)
        if periods is not None:
            return solved.valued(choice.picks, laid.playing_min), periods
        minutes = choice.minutes - 1
    return None


def _best_fitting(task: Task, solved: DayChoice, laid: Layout) -> Fitting | None:
    choice = solved.choose(laid.playing_min)
    if choice is None:
        return None
    periods = _arranged(task, choice, laid)
    if periods is not None:
        return choice, periods
    near = _first_fitting(task, solved, laid, choice.minutes - 1)
    if near is not None and solved.nearly(choice, near[0], _NEAR):
        return near
    tried = [
        near,
        _refitted(task, solved, choice, laid),
        _first_fitting(task, _solved(task, laid.playing_min, plain=True), laid, laid.playing_min),
    ]
    found = [t for t in tried if t is not None]
    if found:
        return max(found, key=lambda t: t[0].score)
    return _most_fitting(task, _solved(task, laid.playing_min, plain=True), laid)


def _refitted(task: Task, solved: DayChoice, choice: Choice, laid: Layout) -> Fitting | None:
    """Decide minutes and periods together, for steps in and near the choice, in its topics."""
    held = set(task.insisted)
    chosen = dict.fromkeys(task.values[p.row].topic_id for p in choice.picks)
    others = [solved.choose(max(laid.playing_min + more, 0)) for more in _NEARBY_MIN]
    near = {p.row for made in (choice, *others) if made for p in made.picks} - held
    free = [sorted(r for r in near if task.values[r].topic_id == t) for t in chosen]
    fixed = [x for p in choice.picks if p.row in held for x in _pieces(task, p)]
    bare = [replace(v, cold_value=0.0) for v in task.values]
    cold_worth = [v.cold_value if v.available else 0.0 for v in task.values]
    for row in task.asked:
        cold_worth[row] += 1.0 + choice.points
    table = free_options(bare, task.limits, fresh=task.fresh, open_ones=task.open_ones)
    spans = [_span(task, choice, t, rows) for t, rows in zip(chosen, free, strict=True)]
    fitted = fit(table, free, cold_worth, fixed, laid, spans)
    if fitted is None:
        return None
    picks, pieces, where = _shared_pieces(task, fitted)
    picks += [p for p in choice.picks if p.row in held]
    made = _ordered(task, [*pieces, *fixed], [*where, *fitted.fixed])
    if _broken(made):
        return None
    points = sum(x.gain for p in made for x in p)
    picks.sort(key=lambda p: p.row)
    return solved.valued(picks, laid.playing_min, points), made


def _span(task: Task, choice: Choice, topic_id: str, free: Sequence[int]) -> Span | None:
    """Minutes of a topic's free steps, so that going round outlives the periods; None: any."""
    if task.rotation is None or not free:
        return None
    minutes = sum(
        p.work_min + (task.limits.cold if p.cold else 0)
        for p in choice.picks
        if task.values[p.row].topic_id == topic_id and p.row not in task.insisted
    )
    own_share = 100 * minutes <= task.rotation.share_percent * choice.minutes
    share = task.rotation.share_percent if own_share else None
    return Span(minutes - _SLACK_MIN, minutes + _SLACK_MIN, share)


def _shared_pieces(task: Task, fitted: Fitted) -> tuple[list[Pick], list[SlotDraft], list[int]]:
    picks, pieces, where = [], [], []
    for part in fitted.parts:
        picks.append(Pick(part.row, part.cold, sum(part.minutes)))
        value, done = task.values[part.row], 0
        if part.cold:
            cold = task.limits.cold
            pieces.append(_piece(task, part.row, SlotKind.COLD, cold, value.cold_value, None))
            where.append(0)
        for period, minutes in enumerate(part.minutes):
            if minutes:
                gain = work_worth(value, done + minutes) - work_worth(value, done)
                pieces.append(_piece(task, part.row, SlotKind.WORK, minutes, gain, None))
                where.append(period)
                done += minutes
    return picks, pieces, where


def _most_fitting(task: Task, plain: DayChoice, laid: Layout) -> Fitting | None:
    """Leave out of the choice what the periods cannot hold."""
    choice = plain.choose(laid.playing_min)
    if choice is None:
        return None
    pieces = [p for pick in choice.picks for p in _pieces(task, pick)]
    where = place_most(pieces, laid.caps)
    kept = [(x, p) for x, p in zip(pieces, where, strict=True) if p is not None]
    if not kept:
        return None
    made = _ordered(task, [x for x, _ in kept], [p for _, p in kept])
    held = {(x.step_id, x.kind) for x, _ in kept}
    picks = tuple(left for pick in choice.picks if (left := _held(task, pick, held)))
    minutes = sum(x.minutes for x, _ in kept)
    return Choice(sum(x.gain for x, _ in kept), minutes, picks), made


def _held(task: Task, pick: Pick, held: set[tuple[str, SlotKind]]) -> Pick | None:
    """Return what is left of a pick, None where nothing is."""
    step_id = task.values[pick.row].step_id
    cold = pick.cold and (step_id, SlotKind.COLD) in held
    work = pick.work_min if (step_id, SlotKind.WORK) in held else 0
    return Pick(pick.row, cold, work) if cold or work else None


def _arranged(task: Task, choice: Choice, laid: Layout) -> tuple[tuple[SlotDraft, ...], ...] | None:
    """Put a choice into as few periods as hold it, in order; None where a rule would break."""
    pieces = [p for pick in choice.picks for p in _pieces(task, pick)]
    for count in _counts(pieces, choice.minutes, laid):
        where = place(pieces, laid.caps[:count])
        if where is not None:
            made = _ordered(task, pieces, where)
            if not _broken(made):
                return made
    return None


def _counts(pieces: Sequence[SlotDraft], minutes: int, laid: Layout) -> list[int]:
    """Numbers of periods to try: the fewest that hold the minutes, one more, and all."""
    asked = [p.wish.period for p in pieces if p.wish and p.wish.period is not None]
    first = max(asked, default=0) + 1
    enough = [n for n in range(first, laid.count + 1) if minutes <= sum(laid.caps[:n])]
    return list(dict.fromkeys([*enough[:2], *enough[-1:]]))


def _broken(periods: Sequence[Sequence[SlotDraft]]) -> bool:
    """Say whether a rule of order is broken where the player did not ask for it."""
    slots = [p for period in periods for p in period]
    if any(a.step_id == b.step_id and not (a.wish or b.wish) for a, b in pairwise(slots)):
        return True
    worked: dict[str, bool] = {}
    for piece in slots:
        if not piece.cold:
            worked[piece.topic_id] = worked.get(piece.topic_id, False) or piece.wish is not None
        elif worked.get(piece.topic_id) is False and piece.wish is None:
            return True
    return False


def _pieces(task: Task, pick: Pick) -> list[SlotDraft]:
    """Turn one step's option into slots; their gains add up to its worth."""
    value, slots = task.values[pick.row], task.insisted.get(pick.row, ())
    made = []
    if pick.cold:
        wish = next((s for s in slots if s.kind is SlotKind.COLD), None)
        minutes = (wish.minutes if wish else None) or task.limits.cold
        made.append(_piece(task, pick.row, SlotKind.COLD, minutes, value.cold_value, wish))
    done = 0
    for minutes, wish in _work_split(task, pick, slots):
        gain = work_worth(value, done + minutes) - work_worth(value, done)
        made.append(_piece(task, pick.row, SlotKind.WORK, minutes, gain, wish))
        done += minutes
    return made


def _piece(
    task: Task, row: int, kind: SlotKind, minutes: int, gain: float, wish: PinnedSlot | None
) -> SlotDraft:
    value = task.values[row]
    return SlotDraft(
        step_id=value.step_id,
        topic_id=value.topic_id,
        kind=kind,
        minutes=minutes,
        gain=gain,
        newness=1.0 - value.chance_without,
        exercise=task.exercises[row],
        wish=wish,
    )


def _work_split(
    task: Task, pick: Pick, slots: Sequence[PinnedSlot]
) -> list[tuple[int, PinnedSlot | None]]:
    works = [s for s in slots if s.kind is SlotKind.WORK]
    if not pick.work_min:
        return []
    if works:
        return _split_insisted(pick.work_min, works)
    need, fresh = task.values[pick.row].need_left_min, task.fresh[pick.row]
    single, _double = longest_work(need, task.limits, fresh=fresh)
    if pick.work_min <= single:
        return [(pick.work_min, None)]
    first = (pick.work_min + 1) // 2
    return [(first, None), (pick.work_min - first, None)]


def _split_insisted(total: int, works: Sequence[PinnedSlot]) -> list[tuple[int, PinnedSlot | None]]:
    rest = total - sum(w.minutes or 0 for w in works)
    open_ones = sum(w.minutes is None for w in works)
    made: list[tuple[int, PinnedSlot | None]] = []
    for work in works:
        minutes = work.minutes
        if minutes is None:
            minutes = -(-rest // open_ones)
            rest, open_ones = rest - minutes, open_ones - 1
        made.append((minutes, work))
    if rest and not any(w.minutes is None for w in works):
        made.append((rest, None))
    return made


def _least_pieces(task: Task, insisted: Mapping[int, Sequence[PinnedSlot]]) -> list[SlotDraft]:
    return [
        _piece(task, row, s.kind, least_minutes(s, task.limits), 0.0, s)
        for row, slots in insisted.items()
        for s in slots
    ]


def _laid_out(
    task: Task, insisted: Sequence[PinnedSlot]
) -> tuple[Layout, Mapping[int, tuple[PinnedSlot, ...]]]:
    """Lay out the periods; where wishes overfill them, as little as possible over the cap."""
    asked = minutes_by_period(insisted, task.limits)
    laid = layout(task.minutes, task.rules, asked)
    pieces = _least_pieces(task, task.insisted)
    total = sum(p.minutes for p in pieces)
    if not pieces or (total <= laid.playing_min and place(pieces, laid.caps) is not None):
        return laid, task.insisted
    count, where = _hard_places(task, insisted)
    caps = [task.rules.period_cap_min] * count
    return _overfilled(task, pieces, place(pieces, caps, elastic=True) or where, count)


def _hard_places(task: Task, insisted: Sequence[PinnedSlot]) -> tuple[int, tuple[int, ...]]:
    found = hard_places(insisted, task.minutes, task.rules, task.limits)
    if found is None:
        raise ValueError("wishes that break a hard rule must be changed before")
    return found


def _overfilled(
    task: Task, pieces: Sequence[SlotDraft], where: Sequence[int], count: int
) -> tuple[Layout, Mapping[int, tuple[PinnedSlot, ...]]]:
    load = [
        sum(x.minutes for x, p in zip(pieces, where, strict=True) if p == q) for q in range(count)
    ]
    caps = tuple(max(task.rules.period_cap_min, minutes) for minutes in load)
    fixed: dict[int, tuple[PinnedSlot, ...]] = {}
    at = iter(zip(pieces, where, strict=True))
    for row, slots in task.insisted.items():
        held = []
        for slot in slots:
            piece, period = next(at)
            held.append(replace(slot, minutes=piece.minutes, period=period))
        fixed[row] = tuple(held)
    playing = min(room(task.minutes, count, task.rules), sum(caps))
    return Layout(caps, playing), fixed


def _only_insisted(task: Task, laid: Layout) -> Fitting:
    """Place what the player insists on and nothing else."""
    pieces = _least_pieces(task, task.insisted)
    slots = [s for held in task.insisted.values() for s in held]
    where = place(pieces, laid.caps, elastic=True) or _hard_places(task, slots)[1]
    picks = tuple(
        Pick(
            row,
            any(s.kind is SlotKind.COLD for s in slots),
            sum(least_minutes(s, task.limits) for s in slots if s.kind is SlotKind.WORK),
        )
        for row, slots in task.insisted.items()
    )
    minutes = sum(p.minutes for p in pieces)
    made = _ordered(task, pieces, where) if pieces else ()
    return Choice(0.0, minutes, picks), made
