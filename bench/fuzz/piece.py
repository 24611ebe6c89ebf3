"""One piece of the fuzzing, in a process of its own: `piece.py READER FIRST COUNT`.

Before each input its number goes to stdout, so that whoever watches knows over which one this
process hung or died; after it what became of it. Memory is limited to 1 GB.
"""

import json
import resource
import sys
import time
import traceback
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "src"))

from fuzz_readers import READERS
from fuzz_seeds import seeds_of
from mutations import mutant

from coldtake.errors import ColdtakeError
from coldtake.music.notation.verovio_client import WORKER

MEMORY = 1_000_000_000


def outcome(reader: str, data: bytes) -> dict[str, str]:
    """read, refused, or the fault with the place where it arose."""
    try:
        READERS[reader](data)
    except ColdtakeError as refusal:
        return {"became": "refused"} if str(refusal).strip() else {"became": "an empty refusal"}
    except BaseException as fault:  # noqa: BLE001 - finding these is the purpose
        last = traceback.extract_tb(fault.__traceback__)[-1]
        place = f"{Path(last.filename).name}:{last.lineno}"
        return {"became": f"{type(fault).__name__} at {place}", "words": str(fault)[:300]}
    return {"became": "read"}


def main() -> None:
    reader, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    seeds = seeds_of(reader)
    outcome(reader, seeds[0])  # heavy imports belong to no input
    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY, MEMORY))
    for number in range(first, first + count):
        data = mutant(seeds, reader, number)
        print(json.dumps({"n": number}), flush=True)
        began = time.process_time()
        lost = WORKER.lost
        found = outcome(reader, data)
        if WORKER.lost > lost:  # refused, because the engraver's process died over it
            found["engraver"] = "lost"
        seconds = round(time.process_time() - began, 3)
        print(json.dumps({"n": number, "s": seconds, **found}), flush=True)


if __name__ == "__main__":
    main()
