"""Nothing that is sent as a recording opens a socket or a file, or starts anything."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

READ = {
    "3g2", "3gp", "adts", "aiff", "amr", "caf", "f4v", "flac", "ipod", "ismv", "mov", "mp2", "mp3",
    "mp4", "opus", "w64", "wav", "webm",
}  # fmt: skip


@pytest.fixture(scope="module")
def tried():
    """What became of each file, where the kernel would have ended the process at an attempt."""
    script = Path(__file__).with_name("every_container.py")
    done = subprocess.run([sys.executable, str(script)], capture_output=True, check=False)
    assert done.returncode == 0, f"ended by {done.returncode}: {done.stderr[-300:]!r}"
    return json.loads(done.stdout)


def test_the_kernel_watched(tried):
    if not tried["walled"]:
        pytest.skip("only Linux on these processors can be asked to watch")
    assert len(tried["said"]) > 700


def test_what_musicians_send_is_read_and_nothing_else(tried):
    read = {name for name, (became, _) in tried["said"].items() if became == "read"}
    assert {name for name in read if "amr" not in name} == READ - {"amr"}
    assert (
        "amr" in read
    )  # which says nothing of itself but its name: what follows is taken as sound


def test_each_refusal_is_quick_and_in_words(tried):
    for name, (became, cpu_s) in tried["said"].items():
        assert cpu_s < 1.0, name
        if " read as " not in name:
            assert became == "read" or became.startswith("take: "), name
