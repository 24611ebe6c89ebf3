"""`coldtake listen --json` on takes of every listener: an answer, in plain JSON.

All two hundred are judged in `web/test_every_take.py`. Here each thing that can happen to a take is
told of by every second instrument: what is asked is the command's own part, status and JSON.
"""

import json

import pytest

import every_take
from coldtake.cli import main

pytestmark = [
    pytest.mark.audio,
    pytest.mark.long,
    pytest.mark.skipif(not every_take.HAVE_BANK, reason="fluid-soundfont-gm is not installed"),
]
IN_TURN = {"line": 4, "chords": 3, "improvised": 3}  # things that happen to each instrument
STATUS = {"yes": 0, "no": 1, "cannot tell": 3}


def no_number(name: str) -> float:
    raise AssertionError(f"{name} is no JSON (RFC 8259, section 6)")


def chosen(kind):
    """All of a kind, or of each instrument every second thing, the other ones of the next."""
    things = IN_TURN.get(kind)
    for number, take in enumerate(every_take.takes(kind)):
        if things is None or sum(divmod(number, things)) % 2 == 0:
            yield take


@pytest.mark.parametrize("kind", every_take.COUNTS)
def test_every_take_has_a_status_and_json(kind, tmp_path, capsys):
    for take in chosen(kind):
        sound, page = tmp_path / take.file, tmp_path / "page.abc"
        sound.write_bytes(take.data)
        page.write_text(take.abc)
        click = ("--click", f"{60.0 / take.click['every_s']:g}") if take.click else ()
        words = ("listen", str(sound), "--passage", str(page), "--tempo", f"{take.bpm:g}")
        status = main([*words, *click, *take.words, "--json"])
        out, err = capsys.readouterr()
        assert err == "", take.name
        told = json.loads(out, parse_constant=no_number)
        assert status == STATUS[told["verdict"]], take.name
        assert told["reason"], take.name
        assert told["tests"], take.name
