"""Eight clients that look at pages as fast as a busy house would: `clients.py URL SECONDS PATH…`.

Each waits 100 ms between an answer and its next request. Prints one JSON line: how many requests,
how many failed, and the times of the answers.
"""

import http.client
import json
import random
import sys
import threading
import time
from urllib.parse import urlsplit

CLIENTS = 8
PAUSE_S = 0.1
PATIENCE_S = 30.0


def look(
    host: str, paths: list[str], until: float, seed: int, told: list[tuple[float, int]]
) -> None:
    rng = random.Random(seed)
    while time.monotonic() < until:
        began = time.perf_counter()
        connection = http.client.HTTPConnection(host, timeout=PATIENCE_S)
        try:
            connection.request("GET", rng.choice(paths))
            answer = connection.getresponse()
            answer.read()
            status = answer.status
        except OSError:
            status = 0
        finally:
            connection.close()
        told.append((time.perf_counter() - began, status))
        time.sleep(PAUSE_S)


def main() -> None:
    url, seconds, paths = sys.argv[1], float(sys.argv[2]), sys.argv[3:]
    host = urlsplit(url).netloc
    assert host.startswith("127.0.0.1:"), "only this machine is ever asked"
    told: list[tuple[float, int]] = []
    until = time.monotonic() + seconds
    threads = [
        threading.Thread(target=look, args=(host, paths, until, n, told)) for n in range(CLIENTS)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    failed = sum(status != 200 for _, status in told)
    print(json.dumps({"requests": len(told), "failed": failed, "s": sorted(s for s, _ in told)}))


if __name__ == "__main__":
    main()
