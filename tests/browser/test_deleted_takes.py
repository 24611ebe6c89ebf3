"""A take deleted in a browser: by its buttons, and gone from this browser's own store as well."""

import json
from datetime import timedelta

import msgspec
import numpy as np

from coldtake.domain import events as ev
from coldtake.domain.events import to_json
from coldtake.domain.ids import named_id
from coldtake.domain.take import Answer, NewTake, Verdict
from every_take import wav
from making import step

TAKE = named_id("take")
HELD = """async () => {
  const { openStore } = await import("/static/session/keeping/store.js");
  const store = await openStore();
  const held = [await store.events(), await store.takes(), await store.countBatches()];
  return JSON.stringify(held);
}"""
HOLD = """async ([event, takeId]) => {
  const { openStore } = await import("/static/session/keeping/store.js");
  const store = await openStore();
  await store.keep([event], 0);
  await store.beginTake({ takeId, status: "refused", query: "", rate: 8000 });
  await store.keepBatch(takeId, { frame: 0, samples: new Float32Array(8) });
}"""


def test_a_take_is_deleted_and_this_browser_lets_go_of_it(served, open_page, axe):
    services = served.services
    kept = services.pile.add("Air")
    one = step(of="air")
    services.pile.keep_step(msgspec.structs.replace(one, topic_id=kept.id))
    at = services.now() - timedelta(minutes=1)
    sound = wav(np.random.default_rng(1).normal(0, 0.1, 4000).astype(np.float32))
    services.takes.keep(sound, NewTake(step_id=one.id, take_id=TAKE, at=at, to_judge=False))
    verdict = Verdict(
        answer=Answer.NO,
        reason="reason-of-the-take",
        tempo_bpm=None,
        tests=(),
        notes=(),
        engine="line-9",
    )
    [judged] = services.append(ev.TakeJudged(take_id=TAKE, verdict=verdict))
    page = open_page(390, 844)
    page.goto(f"{served.url}/takes/{TAKE}")
    page.evaluate(HOLD, [json.loads(to_json(judged)), TAKE])
    assert "reason-of-the-take" in page.evaluate(HELD)
    page.click("#delete-take")
    page.wait_for_url("**/takes/delete?**")
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.click("text=Delete take >> nth=-1")
    page.wait_for_selector("text=Deleted for good: 1 take.")
    page.wait_for_selector("html[data-forgotten]", state="attached")
    assert page.evaluate(HELD) == "[[],[],0]"
    assert not services.state().takes
