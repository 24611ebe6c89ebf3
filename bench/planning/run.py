"""Solve times and worth of a day's plan against density greedy and one whole model in HiGHS.

    OMP_NUM_THREADS=1 PYTHONPATH=src python bench/planning/run.py

Times are CPU seconds of this process, medians with the longest in brackets. Worth is points over
the upper bound of the choice. All three see the same days in the same run.
"""

import platform
import statistics
import sys
import time

from instances import request, state_of, values_of
from rivals import WholeModel, density_greedy

from coldtake.planning.day.composition.choice import DayChoice, TopicLimits
from coldtake.planning.day.composition.options import free_options, limits_of
from coldtake.planning.day.composition.periods import layout
from coldtake.planning.day.plan_day import plan_day, rules_of

DAYS = 12
WHOLE_DAYS = 3
WHOLE_LIMIT_S = 60.0


def timed(work):
    """(result, CPU seconds)."""
    start = time.process_time()
    result = work()
    return result, time.process_time() - start


def choice_only(values, limits, rules, playing):
    topics = {}
    for row, value in enumerate(values):
        topics.setdefault(value.topic_id, []).append(row)
    asked = TopicLimits(rules.topics_least, rules.topics_most)
    due = [False] * len(topics)
    made = DayChoice(free_options(values, limits), list(topics.values()), due, asked, playing)
    return made.choose(playing).points


def one_size(steps, minutes):
    state = state_of(steps)
    rules = rules_of(state)
    limits, playing = limits_of(rules, minutes), layout(minutes, rules).playing_min
    rows = []
    for seed in range(DAYS):
        values = values_of(state, seed)
        chosen, choice_s = timed(lambda v=values: choice_only(v, limits, rules, playing))
        plan, plan_s = timed(lambda v=values: plan_day(state, request(minutes), values=v))
        greedy, greedy_s = timed(lambda v=values: density_greedy(v, limits, rules, playing))
        rows.append(
            (
                choice_s,
                plan_s,
                greedy_s,
                plan.value / chosen,
                plan.value / plan.bound,
                greedy / plan.bound,
            )
        )
    return [list(column) for column in zip(*rows, strict=True)]


def whole(steps, minutes):
    state = state_of(steps)
    rules = rules_of(state)
    limits = limits_of(rules, minutes)
    rows = []
    for seed in range(WHOLE_DAYS):
        values = values_of(state, seed, single=True)
        plan, plan_s = timed(lambda v=values: plan_day(state, request(minutes), values=v))
        model = WholeModel(values, limits, rules, minutes)
        (points, bound, proved), whole_s = timed(lambda m=model: m.solve(WHOLE_LIMIT_S))
        rows.append((plan_s, whole_s, plan.value / max(points, 1e-9), plan.value / bound, proved))
    return [list(column) for column in zip(*rows, strict=True)]


def middle(seconds):
    return f"{1000 * statistics.median(seconds):.0f} ({1000 * max(seconds):.0f})"


def share(ratios):
    return f"{statistics.mean(ratios):.4f} ({min(ratios):.4f})"


def main():
    print(__doc__)
    print(f"Python {platform.python_version()}, one thread, {DAYS} days a row.\n")
    print("## Choice and plan against density greedy\n")
    print(
        "| steps | minutes | choice ms | whole plan ms | greedy ms | placed / choice "
        "| plan / bound | greedy / bound |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for steps in (20, 100, 200, 500):
        for minutes in (60, 135, 180):
            c, p, g, placed, worth, greedy = one_size(steps, minutes)
            print(
                f"| {steps} | {minutes} | {middle(c)} | {middle(p)} | {middle(g)} "
                f"| {share(placed)} | {share(worth)} | {share(greedy)} |",
                flush=True,
            )
    print(
        f"\nMean, lowest in brackets.\n\n## Against one whole model (HiGHS, gap 0.2 %, at most "
        f"{WHOLE_LIMIT_S:.0f} s, {WHOLE_DAYS} days a row, one slot a step)\n"
    )
    print("| steps | minutes | plan ms | HiGHS ms | plan / HiGHS | plan / HiGHS's bound | proved |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for steps, minutes in ((20, 60), (20, 180), (100, 60), (100, 180), (200, 60)):
        p, h, ratio, bound, proved = whole(steps, minutes)
        print(
            f"| {steps} | {minutes} | {middle(p)} | {middle(h)} | {share(ratio)} "
            f"| {share(bound)} | {sum(proved)} of {len(proved)} |",
            flush=True,
        )


if __name__ == "__main__":
    sys.exit(main())
