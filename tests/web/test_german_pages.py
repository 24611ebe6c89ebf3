"""Pages in German, as they will be once it is offered; until then nobody is answered in it."""

import re
from html import unescape

import pytest

from catalogues import catalogue_texts, translated
from coldtake.messages.language import LANGUAGES

PAGES = (
    "/ /tomorrow /week /outlook /outlook/dates /performances /performances/stage /settings /data "
    "/long-work /tuner /progress /takes /import /slow /changes /session /share /triage /what-if "
    "/print /run-through /nowhere"
)
TEXT = re.compile(
    r">([^<>]+)<|(?:aria-label|placeholder|title|alt|data-says|data-busy)=\"([^\"]+)\""
)

# Made in Python still, in English: the criterion's editor, whose words the session has, too.
FROM_PYTHON = {"dotted quarter"}


@pytest.fixture
def german(monkeypatch, client):
    """A browser that asks for German, with German offered."""
    monkeypatch.setattr("coldtake.web.speaking.offered", lambda: LANGUAGES)
    client.headers["accept-language"] = "de-CH,de;q=0.9,en;q=0.5"
    return client


@pytest.fixture(scope="module")
def english():
    """What templates write otherwise in German; single words may also come from Python."""
    found = [m for m in translated("de") if m.id and m.id != m.string]
    return {unescape(text) for m in found for text in catalogue_texts(m.id) if " " in text}


def shown(page: str) -> set[str]:
    body = re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL)
    return {unescape(text or other).strip() for text, other in TEXT.findall(body)} - {""}


def test_no_english_of_the_templates_is_left(german, desk, english):
    topic = desk.topic("Invention")
    desk.step(topic, "Bars 1 to 4")
    for path in [*PAGES.split(), f"/topics/{topic.id}", f"/topics/{topic.id}/proposal"]:
        page = german.get(path).text
        assert '<html lang="de">' in page or "<html" not in page, path
        assert shown(page) & english <= FROM_PYTHON, path


def test_fields_hold_numbers_as_browsers_take_them(german):
    """HTML (WHATWG, 2025), 4.10.5.1.12: a point, whatever the language."""
    page = german.get("/changes?text=Dm7+%7C+G7&metre=4/4").text
    values = re.findall(r'type="number"[^>]*value="([^"]*)"', page)
    assert values
    assert all(re.fullmatch(r"-?[\d.]*", value) for value in values)


def test_the_setting_comes_before_the_browser(german, services):
    services.settings.choose("language", "0")
    assert '<html lang="en">' in german.get("/settings").text
    services.settings.choose("language", "1")
    german.headers["accept-language"] = "en"
    assert '<html lang="de">' in german.get("/settings").text


def test_what_is_not_complete_is_offered_to_nobody(client, services):
    """Its flag may be set when the sentences made in Python have their messages, too."""
    assert [one.code for one in LANGUAGES if not one.complete] == ["de"]
    services.settings.choose("language", "1")
    page = client.get("/settings", headers={"accept-language": "de"}).text
    assert '<html lang="en">' in page
    assert "Language (0" not in page
