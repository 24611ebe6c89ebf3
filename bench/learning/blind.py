"""Rules that read days, minutes, answers and the player's own guess of need, and nothing else.

    python blind.py {tuning|reporting} SCENARIO FIRST COUNT name=value ... [/ name=value ...]

One line a variant: its ratio to triage on the same players, the worst kind of law, players won,
whole topics. A tenth of a second a player, so that one thing can be switched at a time on many.
"""

import sys
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import laws
import numpy as np
import thumb
from world import Slot, World, make, run

from coldtake.domain.topic import Step


@dataclass(frozen=True)
class Blind:
    """slot : minutes; reach : minutes thought for a step, times its need; met : how often a met
    step comes back, times `streak` for each clean cold take in a row; most : topics a session."""

    slot: float = 6.0
    reach: float = 1.4
    met: float = 0.5
    streak: float = 1.0
    importance: float = 0.8
    waiting: float = 0.5
    fresh: float = 6.0
    keeping: float = 0.3
    most: float = 99.0

    def rule(self, world: World) -> list[Slot]:
        met, last = thumb._met(world), thumb._last_touched(world)
        ranked = sorted(
            (-self.worth(world, step, met, last), step.id, topic)
            for topic in self.taken(world)
            for step in world.state.topic_steps(topic)
            if all(met[n] for n in step.needs)
        )
        chosen: list[str] = []
        topics: set[str] = set()
        for _, step_id, topic in ranked:
            if len(topics | {topic}) <= self.most:
                topics.add(topic)
                chosen.append(step_id)
        chosen = chosen[: max(int(world.scenario.minutes // self.slot), 1)]
        return [Slot(i, world.scenario.minutes / len(chosen)) for i in chosen]

    def taken(self, world: World) -> list[str]:
        """Topics whose minutes are there, those with most steps for their minutes first."""
        state, left = world.state, (world.last - world.day).days
        room = _per_day(world) * left
        offered = []
        for topic in state.topics.values():
            steps = state.topic_steps(topic.id)
            need = float(sum(s.need_min for s in steps))
            played = sum(state.minutes_of.get(s.id, 0.0) for s in steps)
            kept = self.keeping * need * min(left / 40.0, 1.0)
            cost = max(self.reach * need - played, kept, 1.0)
            offered.append((-topic.importance * len(steps) / cost, topic.id, cost))
        found = []
        for _, topic_id, cost in sorted(offered):
            if cost <= room:
                found.append(topic_id)
                room -= cost
        return found

    def worth(
        self, world: World, step: Step, met: dict[str, bool], last: Callable[[str], int]
    ) -> float:
        day, before = world.day.toordinal(), last(step.id)
        gap = max(day - before, 0.2) if before else self.fresh
        worth = gap * float(world.state.topics[step.topic_id].importance) ** self.importance
        if met[step.id]:
            return worth * self.met * self.streak ** _clean_in_a_row(world, step.id)
        steps = world.state.topic_steps(step.topic_id)
        behind = [s for s in steps[steps.index(step) + 1 :] if not met[s.id]]
        return worth * (1.0 + self.waiting * len(behind))


def _per_day(world: World) -> float:
    """Minutes a day really played lately, the setting mixed in at first."""
    played = world.state.minutes_on
    span = min((world.day - min(played, default=world.day)).days, 28)
    lately = sum(m for day, m in played.items() if 0 < (world.day - day).days <= span)
    return (lately + 7.0 * world.scenario.minutes * 0.85) / (span + 7.0)


def _clean_in_a_row(world: World, step_id: str) -> int:
    count = 0
    for tried in reversed(world.state.step_tries(step_id)):
        if tried.cold and tried.answer != "yes":
            break
        count += tried.cold
    return count


def main() -> None:
    part, name, first, count = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    own = {"tuning": laws.TUNING, "reporting": laws.REPORTING}[part]
    seeds = range(first, first + count)
    base = np.array([_scored(name, s, own, thumb.triage) for s in seeds])
    for text in " ".join(sys.argv[5:]).split("/"):
        changed = {k: float(v) for k, _, v in (w.partition("=") for w in text.split())}
        assert set(changed) <= {f.name for f in fields(Blind)}, changed
        mine = np.array([_scored(name, s, own, replace(Blind(), **changed).rule) for s in seeds])
        kinds: dict[tuple[int, str], list[int]] = defaultdict(list)
        for row, seed in enumerate(seeds):
            for kind in enumerate(laws.drawn(seed, own)):
                kinds[kind].append(row)
        ratio = mine.sum(axis=0) / base.sum(axis=0)
        worst = min(mine[r, 0].sum() / base[r, 0].sum() for r in kinds.values())
        won = int((mine[:, 0] > base[:, 0]).sum())
        print(
            f"{name:8} {text.strip() or 'as it stands':32} x {ratio[0]:.3f}  worst {worst:.3f}  "
            f"won {won} of {count}  topics x {ratio[1]:.2f}",
            flush=True,
        )


def _scored(
    name: str, seed: int, own: tuple[laws.Law, ...], rule: Callable[[World], list[Slot]]
) -> tuple[float, float]:
    score = run(make(name, seed, laws.drawn(seed, own)), rule)
    return score.total, score.topics


if __name__ == "__main__":
    main()
