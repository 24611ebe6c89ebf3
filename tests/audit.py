"""Ask the public services whether a pinned dependency has a known fault; part of `make lint`.

Exit status 1 for a known fault only. Where a service cannot be reached, one line says so and the
step passes: nothing can be told there, and working without a network must stay possible. One
package is asked for first, so that without a connection nobody waits for all of them.
"""

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
LOCK = ROOT / "requirements.lock"
PATIENCE_S, FIRST_S, TIMEOUT_S = 300, 25, 4
_ENTRY = re.compile(r"^\S+==.*?(?=^\S|\Z)", re.MULTILINE | re.DOTALL)


def main() -> int:
    results = {"Python": python_faults(), "Node.js": node_faults()}
    for language, faults in results.items():
        if faults is None:
            say(f"audit: {language} packages not asked about; the service cannot be reached.")
        elif faults:
            say(f"audit: known faults in {language} packages: {'; '.join(faults)}.")
        else:
            say(f"audit: no known fault in any pinned {language} package.")
    return int(any(results.values()))


def python_faults() -> list[str] | None:
    """Faults of what is installed to run Coldtake; None when nobody could be asked."""
    first = _ENTRY.search(LOCK.read_text(encoding="utf-8"))
    assert first is not None
    with tempfile.TemporaryDirectory() as folder:
        one = Path(folder) / "one.txt"
        one.write_text(first[0], encoding="utf-8")
        if pip_faults(one, FIRST_S) is None:
            return None
    return pip_faults(LOCK, PATIENCE_S)


def pip_faults(lock: Path, patience_s: float) -> list[str] | None:
    audit = [sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes"]
    how = ["--timeout", str(TIMEOUT_S), "--progress-spinner", "off", "--format", "json"]
    return told_by_pip(answer_of([*audit, *how, "-r", str(lock)], patience_s))


def told_by_pip(answer: dict[str, Any] | None) -> list[str] | None:
    packages = (answer or {}).get("dependencies", [])
    asked = [p for p in packages if "skip_reason" not in p]
    if not asked:
        return None
    return [f"{p['name']} {p['version']} ({v['id']})" for p in asked for v in p.get("vulns", ())]


def node_faults() -> list[str] | None:
    """Faults of what the checks use; None when nobody could be asked."""
    short = ["--fetch-retries=0", f"--fetch-timeout={TIMEOUT_S * 1000}"]
    audit = ["npm", "audit", "--package-lock-only", "--json", *short]
    return told_by_npm(answer_of(audit, FIRST_S))


def told_by_npm(answer: dict[str, Any] | None) -> list[str] | None:
    if answer is None or "vulnerabilities" not in answer:
        return None
    return [f"{n} ({v.get('severity', '?')})" for n, v in answer["vulnerabilities"].items()]


def answer_of(command: list[str], patience_s: float) -> dict[str, Any] | None:
    try:
        done = subprocess.run(
            command, cwd=ROOT, capture_output=True, text=True, timeout=patience_s, check=False
        )
        answer = json.loads(done.stdout)
    except (OSError, subprocess.TimeoutExpired, json.JSONDecodeError):
        return None
    return answer if isinstance(answer, dict) else None


def say(words: str) -> None:
    sys.stdout.write(f"{words}\n")


if __name__ == "__main__":
    sys.exit(main())
