"""An engraved passage in a real page with the strictest policy: nothing refused, marks seen."""

import pytest

from coldtake.music.notation.engraving.engraver import NoteMark, engrave
from coldtake.music.notation.reading.reader import read_passage

TUNE = (
    'X:1\nT:Two & "three" <bars>\nM:3/4\nL:1/4\nQ:1/4=80\nK:F\n'
    '"Gm"F G A-|A {g}B !trill!c|(3ABc d/e/f|]\n'
)


@pytest.mark.browser
def test_a_browser_with_a_strict_policy_draws_it(open_page, tmp_path):
    passage = read_passage(TUNE, "abc")
    svg = engrave(passage, marks={passage.notes[0].id: NoteMark("wrong", "E4 instead of F4")})
    file = tmp_path / "page.html"
    file.write_text(
        "<!doctype html><meta charset=utf-8><meta http-equiv=Content-Security-Policy "
        f"content=\"default-src 'self'\"><body>{svg}</body>",
        encoding="utf-8",
    )
    page = open_page()
    refusals = []
    page.on("console", lambda message: refusals.append(message.text))
    page.goto(file.as_uri())
    colour = page.evaluate("getComputedStyle(document.querySelector('.mark-wrong .notehead')).fill")
    box = page.evaluate("document.querySelector('.mark-wrong .mark-shape').getBBox().width")
    assert refusals == []
    assert colour == "rgb(176, 58, 0)"
    assert box > 50
