"""From a dropped PDF to an answer at the stand: two touches, a step, its picture, pencil marks."""

import base64

import typst
import verovio
from playwright.sync_api import expect
from stand import Stand, plan_today, slot

from coldtake.music.notation.reading.reader import read_passage

LINE = "GABc|dBGB|c2AF|F2D2|GBdg|gdBG|cAFD|G4|\n"
ABC = "X:1\nT:Invented\nM:4/4\nL:1/4\nK:G\n" + 4 * LINE
DROP = """async ([name, body]) => {
  const bytes = Uint8Array.from(atob(body), (c) => c.charCodeAt(0));
  const data = new DataTransfer();
  data.items.add(new File([bytes], name, { type: "application/pdf" }));
  document.body.dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true }));
}"""
SIZES = ((1440, 900), (820, 1180), (390, 844))


def paper(folder) -> bytes:
    kit = verovio.toolkit()
    kit.setOptions({"pageWidth": 1800, "pageHeight": 2400, "scale": 60, "adjustPageHeight": True})
    assert kit.loadData(read_passage(ABC, "abc").mei)
    (folder / "a.svg").write_text(kit.renderToSVG(1))
    text = '#set page(width: 210mm, height: 297mm, margin: 15mm)\n#image("a.svg", width: 180mm)'
    (folder / "a.typ").write_text(text)
    return typst.compile(folder / "a.typ", format="pdf")


def touch(page, share: float) -> None:
    box = page.locator("[data-leaf='1']").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + share * box["height"])


def test_a_dropped_page_is_marked_played_from_and_answered(served, open_page, tmp_path):
    services = served.services
    topic = services.pile.add("Waltz", place="current")
    page = open_page(1440, 2000)
    page.goto(f"{served.url}/topics/{topic.id}/pages")
    page.evaluate(DROP, ["waltz.pdf", base64.b64encode(paper(tmp_path)).decode()])
    expect(page.locator("[data-leaf='1'] img")).to_be_visible()
    page.wait_for_function("() => document.querySelector('[data-leaf] img')?.naturalWidth > 0")
    [shown] = services.pages.of_topic(topic.id)
    view = shown.view

    def middle(system: int) -> float:
        return (sum(view.systems[system]) / 2 - view.top) / (view.bottom - view.top)

    touch(page, middle(2))  # the order of the two touches does not matter
    touch(page, middle(1))
    expect(page.locator(".over .edge")).to_have_count(2)
    page.get_by_label("Name of the step").fill("Lines 2 and 3")
    page.get_by_role("button", name="Add step").click()
    expect(page.get_by_role("heading", name="Lines 2 and 3")).to_be_visible()
    [step] = services.state().topic_steps(topic.id)
    assert len(step.exercise.marked) == 2
    top = view.systems[1][0]
    assert abs(step.exercise.marked[0].top - top) < 0.002

    page.goto(f"{served.url}/pages/{view.key}")
    page.get_by_role("button", name="Pencil").click()
    leaf = page.locator("#leaf").bounding_box()
    at = leaf["y"] + leaf["height"] * middle(1)
    page.mouse.move(leaf["x"] + 300, at)
    page.mouse.down()
    page.mouse.move(leaf["x"] + 500, at + 8, steps=5)
    page.mouse.up()
    expect(page.locator("#pencil-said")).to_have_text("Saved")
    [[*points]] = services.pages.page(view.file_id, 1).strokes
    assert len(points) >= 4

    plan_today(services, [slot(step, 8)])
    player = Stand(page, served.url).open().begin()
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        drawn = page.locator("[data-scene='slot'] svg.is-picture").first
        expect(drawn).to_be_visible()
        figure = page.locator("[data-scene='slot'] .page").bounding_box()
        assert drawn.bounding_box()["width"] > 0.85 * figure["width"]
        if width == SIZES[-1][0]:  # a system is cut across, so that its staves stay legible
            expect(drawn.locator("g.system")).to_have_count(4)
    assert page.locator("[data-scene='slot'] polyline").count() >= 1
    expect(page.locator("#take-small")).to_have_text("not judged: a picture")
    expect(page.locator("#hear")).to_be_hidden()
    player.press("y").sent()
    [answered] = services.state().step_tries(step.id)
    assert (answered.answer, answered.judge) == ("yes", "player")
