"""Rules on players of many laws, paired.

    python wide.py {tuning|reporting} SCENARIO FIRST COUNT RULE[=LABEL] ...

One line of JSON a player and rule. The product's own plan is `product` (plan_day with its usual
settings, all rules of a session kept); run this file with another checkout's `src` on PYTHONPATH
and `product=LABEL` for the planner of another commit: same players, paired.
"""

import json
import sys
import time

import laws
import product
import thumb
from world import Rule, make, run

RULES: dict[str, Rule] = {
    "triage": thumb.triage,
    "equal rotation": thumb.rotation,
    "fixed expanding intervals": thumb.expanding,
    **product.RULES,
}


def main() -> None:
    part, name, first, count = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    own = {"tuning": laws.TUNING, "reporting": laws.REPORTING}[part]
    for seed in range(first, first + count):
        law = laws.drawn(seed, own)
        for word in sys.argv[5:]:
            rule, _, label = word.partition("=")
            start = time.process_time()
            score = run(make(name, seed, law), RULES[rule])
            row = {
                "scenario": name,
                "law": law,
                "seed": seed,
                "rule": label or rule,
                "total": round(score.total, 5),
                "topics": round(score.topics, 5),
                "cpu": round(time.process_time() - start, 2),
            }
            print(json.dumps(row), flush=True)


if __name__ == "__main__":
    main()
