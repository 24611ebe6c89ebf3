"""Named references for the day's plan: density greedy, and one whole model given to HiGHS."""

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from coldtake.planning.day.composition.options import free_options, longest_work
from coldtake.planning.day.composition.periods import layout


def density_greedy(values, limits, rules, minutes):
    """Take the option with most points a minute that fits, until none does; topics limited.

    Every step's option may be replaced by a larger one (the gain a minute of the difference).
    """
    table = free_options(values, limits)
    taken, left, topics, points = {}, minutes, set(), 0.0
    while True:
        best = None
        for row, value in enumerate(values):
            if value.topic_id not in topics and len(topics) >= rules.topics_most:
                continue
            now = taken.get(row, 0)
            base = table.worth[row, now]
            for cost in np.flatnonzero(np.isfinite(table.worth[row])):
                more = int(cost) - now
                if 0 < more <= left:
                    density = (table.worth[row, cost] - base) / more
                    if density > 1e-9 and (best is None or density > best[0]):
                        best = (density, row, int(cost), more)
        if best is None:
            return points
        density, row, cost, more = best
        taken[row], left, points = cost, left - more, points + density * more
        topics.add(values[row].topic_id)


class WholeModel:
    """Choice and periods in one: binary (step, minutes, period), cold (step, period), topic."""

    def __init__(self, values, limits, rules, minutes):
        self.values, self.limits, self.rules = values, limits, rules
        self.laid = layout(minutes, rules)
        self.cost, self.rows, self.low, self.high = [], [], [], []
        self.entries = []
        self._build()

    def _column(self, points):
        self.cost.append(-points)
        return len(self.cost) - 1

    def _row(self, terms, low, high):
        self.entries += [(len(self.low), column, factor) for column, factor in terms]
        self.low.append(low)
        self.high.append(high)

    def _build(self):
        count = self.laid.count
        topics = {v.topic_id: self._column(0.0) for v in self.values}
        load = [[] for _ in range(count)]
        colds, works = {}, {}
        for row, v in enumerate(self.values):
            if not v.available:
                continue
            single, _ = longest_work(v.need_left_min, self.limits)
            mine = []
            for p in range(count):
                for m in range(self.limits.least, single + 1):
                    column = self._column(v.work_value[m])
                    mine.append((column, 1.0))
                    load[p].append((column, float(m)))
                    works.setdefault((row, p), []).append((column, 1.0))
                if v.cold_value > 0:
                    column = self._column(v.cold_value)
                    colds.setdefault(row, []).append(column)
                    load[p].append((column, float(self.limits.cold)))
            topic = topics[v.topic_id]
            self._row([*mine, (topic, -1.0)], -np.inf, 0.0)
            if row in colds:
                self._row([*((c, 1.0) for c in colds[row]), (topic, -1.0)], -np.inf, 0.0)
        for p, cap in enumerate(self.laid.caps):
            self._row(load[p], -np.inf, float(cap))
        self._row([t for row in load for t in row], -np.inf, float(self.laid.playing_min))
        self._row([(c, 1.0) for c in topics.values()], -np.inf, float(self.rules.topics_most))
        self._cold_first(colds, works)

    def _cold_first(self, colds, works):
        for row, columns in colds.items():
            for (other, q), terms in works.items():
                if self.values[other].topic_id == self.values[row].topic_id:
                    later = [(c, 1.0) for p, c in enumerate(columns) if p > q]
                    if later:
                        self._row([*terms, *later], -np.inf, 1.0)

    def solve(self, seconds):
        """Return (points, upper bound, proved within 0.2 %)."""
        i, j, x = zip(*self.entries, strict=True)
        matrix = coo_array((x, (i, j)), shape=(len(self.low), len(self.cost))).tocsc()
        found = milp(
            np.array(self.cost),
            integrality=np.ones(len(self.cost), dtype=np.int64),
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(matrix, np.array(self.low), np.array(self.high)),
            options={"mip_rel_gap": 0.002, "time_limit": seconds},
        )
        points = -found.fun if found.x is not None else 0.0
        return points, -found.mip_dual_bound, found.status == 0
