"""A stored setting that is not valid any more: its default is used, and it is named."""

import pytest

from coldtake.domain.events import SettingChosen
from coldtake.errors import RuleError
from coldtake.settings import BY_NAME, not_valid, value_of

BAD = ("", "abc", "-1", "1e3", "999999", "9" * 5000, "0x10", "½", "4.5")


@pytest.mark.parametrize("text", BAD)
def test_whatever_stands_there_the_default_is_used_and_it_is_named(text):
    for name in BY_NAME:
        assert value_of({name: text}, name) == BY_NAME[name].default
        assert not_valid({name: text}) == {name: text}


def test_two_that_contradict_each_other_both_fall_back():
    chosen = {"slot_least": "20", "slot_most": "10", "held_poor": "90", "held_good": "90"}
    assert [value_of(chosen, n) for n in ("slot_least", "slot_most")] == [4, 12]
    assert [value_of(chosen, n) for n in ("held_poor", "held_good")] == [60, 90]
    assert not_valid(chosen) == chosen


def test_one_that_is_valid_counts_beside_one_that_is_not():
    chosen = {"slot_least": "abc", "slot_most": "10", "no_such_setting": "1"}
    assert value_of(chosen, "slot_most") == 10
    assert not_valid(chosen) == {"slot_least": "abc"}


def test_a_valid_choice_ends_it(services):
    services.append(SettingChosen(name="a4_hz", value="4400"))
    assert services.settings.all()["a4_hz"] == 440
    assert services.settings.not_valid() == {"a4_hz": "4400"}
    with pytest.raises(RuleError):
        services.settings.choose("a4_hz", "4400")
    services.settings.choose("a4_hz", "440")
    assert services.settings.not_valid() == {}
