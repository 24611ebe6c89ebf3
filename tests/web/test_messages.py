"""Every message of the code and the templates has its place in every language."""

import re

import pytest
from template_texts import bare_texts

from catalogues import catalogue_texts, extracted, translated
from coldtake.messages.catalogue import gettext, ngettext
from coldtake.messages.language import LANGUAGES, speaking
from coldtake.web.rendering import TEMPLATES, make_templates

OTHERS = [one.code for one in LANGUAGES[1:]]
PLACE = re.compile(r"%(?:\((\w+)\)s|%)")
TAG = re.compile(r"</?\w[^>]*>|&[#\w]+;")


@pytest.fixture(scope="module")
def shown():
    return extracted()


@pytest.mark.parametrize("code", OTHERS)
def test_every_message_is_translated_and_nothing_else(shown, code):
    """`python tests/catalogues.py` adds what is new; a translation is written by hand."""
    known = {(m.context, m.id): m for m in translated(code) if m.id}
    assert set(known) == {(m.context, m.id) for m in shown if m.id}
    assert [m.id for m in known.values() if not all(catalogue_texts(m.string))] == []
    assert [m.id for m in known.values() if m.fuzzy] == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_has_the_places_and_the_tags_of_its_message(code):
    """A place may be left out where a number is said in words: `one take`."""
    faults = []
    for message in translated(code):
        texts = catalogue_texts(message.id)
        for text in catalogue_texts(message.string) if texts[0] else ():
            same_places = set(PLACE.findall(text)) == set(PLACE.findall(texts[-1]))
            said_in_words = len(texts) > 1 and "num" not in PLACE.findall(texts[0])
            same_tags = sorted(TAG.findall(text)) == sorted(TAG.findall(texts[-1]))
            loose = PLACE.sub("", text).count("%") if "%(" in texts[-1] else 0
            if not (same_places or said_in_words) or not same_tags or loose:
                faults.append((texts[-1], text))
    assert faults == []


def test_plural_forms():
    """German counts like English: one, and all others with zero (CLDR 47, plural rules, 2025)."""
    one, many = "%(num)s bar", "%(num)s bars"
    assert [ngettext(one, many, n) for n in (0, 1, 2)] == [many, one, many]
    with speaking("de"):
        forms = [ngettext(one, many, n) % {"num": n} for n in (0, 1, 2, 21)]
    assert forms == ["0 Takte", "1 Takt", "2 Takte", "21 Takte"]


def test_what_no_catalogue_has_is_shown_in_english():
    with speaking("de"):
        assert gettext("Nobody ever wrote this.") == "Nobody ever wrote this."


def test_no_template_has_a_bare_text():
    bare = {p.name: found for p in sorted(TEMPLATES.glob("*.html")) if (found := bare_texts(p))}
    assert bare == {}


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("<p>Two words</p>", ["Two words"]),
        ('<p>{{ _("Two words") }} ♩ = {{ x }}, {{ y }}</p>', []),
        ("<p>{% trans %}Two words{% endtrans %}</p>", []),
        ('<input placeholder="Two words" name="two words">', ["Two words"]),
        ('<a data-says="{{ title }}: gone." title="{{ _("Gone") }}">', [": gone."]),
        ('{{ "Go on" if x else name }}', ["Go on"]),
        ('{{ _("Go on") if x == "Here it is" else name }}', []),
    ],
)
def test_bare_texts_are_found(tmp_path, source, found):
    (tmp_path / "one.html").write_text(source, encoding="utf-8")
    assert bare_texts(tmp_path / "one.html") == found


def test_a_page_speaks_german_and_the_templates_keep_no_language():
    """One environment for all requests: what is cached in it must not carry a language."""
    page = make_templates().env.get_template("reading.html")
    parts = {"here": "", "done": 1000, "total": 20_000, "shared": False}
    given = {**parts, "request": type("R", (), {"url": type("U", (), {"path": "/"})})}
    given |= {"long_work": lambda: None, "log_amiss": str, "wrong_dates": tuple}
    english = page.render(given)
    with speaking("de"):
        german = page.render(given)
    assert '<html lang="en">' in english
    assert "1,000 of 20,000 entries read." in english
    assert '<html lang="de">' in german
    assert "1.000 von 20.000 Einträgen gelesen." in german
    assert page.render(given) == english
