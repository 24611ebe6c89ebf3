"""Table of rules: python bench/learning/table.py SCENARIO LAW FIRST_SEED COUNT [RULE ...]"""

import json
import sys
import time

from oracle import oracle
from rules import RULES
from world import make, run

ALL = {
    **RULES,
    "planner, true chances": oracle(whole=False),
    "planner, true chances and needs": oracle(whole=True, reach=1.1),
}


def main() -> None:
    name, law, first, count = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    wanted = sys.argv[5:] or list(ALL)
    for seed in range(first, first + count):
        for rule in wanted:
            start = time.process_time()
            score = run(make(name, seed, law), ALL[rule])
            row = {
                "scenario": name,
                "law": law,
                "seed": seed,
                "rule": rule,
                "total": round(score.total, 5),
                "date": round(score.on_date, 5),
                "time": round(score.over_time, 5),
                "topics": round(score.topics, 5),
                "cpu": round(time.process_time() - start, 2),
            }
            print(json.dumps(row), flush=True)


if __name__ == "__main__":
    main()
