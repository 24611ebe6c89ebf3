"""The pile: everything goes in within seconds, few are current, every refusal has a reason."""

from datetime import timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.criterion import (
    ConditionsTest,
    Criterion,
    OwnQuestionTest,
    TempoTest,
    Times,
)
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Exercise, PassageRef, Place, TopicKind
from coldtake.errors import NoRoomError, NotFoundError, PassageError, RuleError
from making import step


def log_of(services):
    return [event.data for _, event in services.store.events()]


@pytest.fixture
def scales(services):
    return services.pile.add("Scales")


def step_of(topic, name="slow", **fields):
    return msgspec.structs.replace(step(name, **fields), topic_id=topic.id)


def make_met(services, topic) -> None:
    kept = services.pile.keep_step(step_of(topic, f"of {topic.title}"))
    answer = ev.TryAnswered(
        try_id=f"try {topic.id}", step_id=kept.id, answer=Answer.YES, judge=Judge.PLAYER
    )
    services.append(answer)


class TestTopics:
    def test_one_line_is_enough(self, services):
        kept = services.pile.add("  Long \t tones\r\n")
        assert kept.title == "Long tones"
        assert services.state().topics == {kept.id: kept}
        assert kept.place is Place.WAITING

    def test_all_its_fields(self, services):
        on = services.today() + timedelta(days=40)
        kept = services.pile.add(
            "Quintet", kind=TopicKind.PIECE, importance=5, performance_on=on, notes=" bars 5-8 "
        )
        found = services.pile.topic(kept.id)
        assert (found.importance, found.performance_on, found.notes) == (5, on, "bars 5-8")

    @pytest.mark.parametrize("title", ["", "   ", "\n\t", "\x00"])
    def test_an_empty_title(self, services, title):
        with pytest.raises(RuleError, match="title is empty") as told:
            services.pile.add(title)
        assert told.value.remedy
        assert log_of(services) == []

    def test_a_title_too_long_says_by_how_much(self, services):
        with pytest.raises(RuleError, match="201 characters; at most 200 are allowed"):
            services.pile.add("x" * 201)

    @pytest.mark.parametrize(
        ("fields", "words"),
        [
            ({"importance": 6}, "importance must be at most 5"),
            ({"importance": 0}, "importance must be at least 1"),
            ({"kind": "opera"}, "kind cannot be used"),
        ],
    )
    def test_a_field_out_of_its_limits(self, services, fields, words):
        with pytest.raises(RuleError, match=words):
            services.pile.add("Scales", **fields)
        assert log_of(services) == []

    def test_a_date_in_the_past_is_refused_with_the_date(self, services):
        yesterday = services.today() - timedelta(days=1)
        with pytest.raises(RuleError, match=f"{yesterday} is past; today is {services.today()}"):
            services.pile.add("Concert", performance_on=yesterday)

    def test_a_topic_whose_date_has_passed_can_still_be_edited(self, services, clock):
        kept = services.pile.add("Concert", performance_on=services.today())
        clock.go_on(days=3)
        services.pile.keep_topic(msgspec.structs.replace(kept, notes="went well"))
        assert services.pile.topic(kept.id).notes == "went well"

    def test_changing_nothing_is_no_event(self, services, scales):
        services.pile.keep_topic(scales)
        services.pile.place(scales.id, Place.WAITING)
        assert len(log_of(services)) == 1

    def test_an_edit_does_not_move_the_topic(self, services, scales):
        services.pile.place(scales.id, Place.CURRENT)
        kept = services.pile.keep_topic(msgspec.structs.replace(scales, title="All scales"))
        assert (kept.title, kept.place) == ("All scales", Place.CURRENT)
        assert services.pile.topic(scales.id) == kept

    def test_there_is_no_such_topic(self, services):
        with pytest.raises(NotFoundError, match="topic was not found"):
            services.pile.place("x", Place.CURRENT)


class TestTwentyAtOnce:
    def test_one_per_line_blank_lines_skipped(self, services):
        text = "\n".join(f"  topic {n} \n" for n in range(20))
        kept = services.pile.add_many(text)
        assert [t.title for t in kept] == [f"topic {n}" for n in range(20)]
        assert list(services.state().topics.values()) == list(kept)

    def test_every_line_at_fault_is_named_and_nothing_is_kept(self, services):
        services.pile.add("Scales")
        with pytest.raises(RuleError) as told:
            services.pile.add_many("Tune\nscales\n\nTUNE\n" + "x" * 300)
        assert "line 2 (“scales”) is already one of your topics" in told.value.what
        assert "line 4 (“TUNE”) is the same as line 1" in told.value.what
        assert "line 5" in told.value.what
        assert len(services.state().topics) == 1

    @pytest.mark.parametrize("text", ["", "\n \n"])
    def test_nothing_in_it(self, services, text):
        with pytest.raises(RuleError, match="no title in this text"):
            services.pile.add_many(text)

    def test_too_many(self, services):
        with pytest.raises(RuleError, match=r"501 lines at once\. At most 500 are allowed"):
            services.pile.add_many("\n".join(f"t{n}" for n in range(501)))


class TestFewAreCurrent:
    def fill(self, services, count=4):
        topics = [services.pile.add(f"topic {n}") for n in range(count)]
        for topic in topics:
            services.pile.place(topic.id, Place.CURRENT)
        return topics

    def test_the_limit_says_which_are_current_and_what_to_do(self, services, scales):
        topics = self.fill(services)
        with pytest.raises(NoRoomError, match="4 topics are current already") as told:
            services.pile.place(scales.id, Place.CURRENT)
        assert told.value.topic_id == scales.id
        assert told.value.current == tuple(t.id for t in topics)
        assert "“topic 0”, “topic 1”, “topic 2”, “topic 3”" in told.value.what
        assert told.value.where == "Scales"
        assert "Move one to waiting" in told.value.remedy
        assert services.pile.topic(scales.id).place is Place.WAITING

    def test_a_new_topic_cannot_slip_in_as_current(self, services):
        self.fill(services)
        with pytest.raises(RuleError, match="your limit is 4"):
            services.pile.add("fifth", place=Place.CURRENT)

    def test_the_limit_is_a_setting(self, services, scales):
        self.fill(services)
        services.settings.choose("current_topics", "5")
        assert services.pile.place(scales.id, Place.CURRENT).place is Place.CURRENT

    def test_laying_one_aside_makes_room_and_loses_nothing(self, services, scales):
        first, *_ = self.fill(services)
        kept = services.pile.keep_step(step_of(first))
        services.pile.place(first.id, Place.LAID_ASIDE)
        services.pile.place(scales.id, Place.CURRENT)
        assert services.state().topic_steps(first.id) == (kept,)

    @pytest.mark.parametrize("to", [Place.WAITING, Place.LAID_ASIDE])
    def test_one_leaves_and_the_other_comes_in_a_single_act(self, services, scales, to):
        first, *others = self.fill(services)
        before = len(log_of(services))
        services.pile.exchange(scales.id, first.id, to)
        assert services.pile.topic(first.id).place is to
        assert all(services.pile.topic(t.id).place is Place.CURRENT for t in (*others, scales))
        assert log_of(services)[before:] == [
            ev.TopicPlaced(topic_id=first.id, place=to),
            ev.TopicPlaced(topic_id=scales.id, place=Place.CURRENT),
        ]
        services.pile.exchange(scales.id, first.id, to)  # sent twice: nothing more happens
        assert len(log_of(services)) == before + 2

    def test_what_takes_no_place_makes_no_room_and_then_nothing_moves(self, services, scales):
        topics = self.fill(services, 4)
        spare = services.pile.add("spare")
        make_met(services, spare)
        services.pile.place(spare.id, Place.CURRENT)  # kept up
        with pytest.raises(NoRoomError):
            services.pile.exchange(scales.id, spare.id, Place.WAITING)
        assert {services.pile.topic(t.id).place for t in (*topics, spare)} == {Place.CURRENT}

    def test_an_exchange_is_allowed_above_a_limit_that_was_lowered(self, services, scales):
        first, *_ = self.fill(services)
        services.settings.choose("current_topics", "2")
        services.pile.exchange(scales.id, first.id, Place.WAITING)
        assert services.pile.topic(scales.id).place is Place.CURRENT

    def test_nobody_changes_places_with_themselves(self, services, scales):
        first, *_ = self.fill(services)
        for leaving, to in ((scales.id, Place.WAITING), (first.id, Place.CURRENT)):
            with pytest.raises(RuleError, match="makes room"):
                services.pile.exchange(scales.id, leaving, to)

    def test_topics_that_are_kept_up_take_no_place(self, services, scales):
        first, *_ = self.fill(services)
        make_met(services, first)
        assert services.pile.place(scales.id, Place.CURRENT)

    def test_nor_does_one_that_comes_in_with_every_step_met(self, services, scales):
        self.fill(services)
        make_met(services, scales)
        assert services.pile.place(scales.id, Place.CURRENT)


class TestSteps:
    def test_steps_keep_their_order_and_can_be_put_into_another(self, services, scales):
        one, two, three = (services.pile.keep_step(step_of(scales, n)) for n in "abc")
        services.pile.order_steps(scales.id, [three.id, one.id])
        assert services.state().topic_steps(scales.id) == (three, one, two)

    def test_dropping_a_step_frees_those_that_needed_it(self, services, scales):
        one = services.pile.keep_step(step_of(scales, "a"))
        two = services.pile.keep_step(step_of(scales, "b", needs=(one.id,)))
        services.pile.drop_step(one.id)
        assert services.pile.step(two.id).needs == ()
        with pytest.raises(NotFoundError):
            services.pile.step(one.id)

    def test_a_step_cannot_need_itself(self, services, scales):
        own = step_of(scales)
        with pytest.raises(RuleError, match="cannot need itself"):
            services.pile.keep_step(msgspec.structs.replace(own, needs=(own.id,)))

    def test_nor_a_step_that_is_not_there(self, services, scales):
        with pytest.raises(RuleError, match="does not exist"):
            services.pile.keep_step(step_of(scales, needs=("nowhere",)))

    def test_nor_one_of_another_topic(self, services, scales):
        other = services.pile.keep_step(step_of(services.pile.add("Tune"), "head"))
        with pytest.raises(RuleError, match="“head”, a step of another topic"):
            services.pile.keep_step(step_of(scales, needs=(other.id,)))

    def test_nor_in_a_circle(self, services, scales):
        a = services.pile.keep_step(step_of(scales, "a"))
        b = services.pile.keep_step(step_of(scales, "b", needs=(a.id,)))
        c = services.pile.keep_step(step_of(scales, "c", needs=(b.id,)))
        with pytest.raises(RuleError, match="a → c → b → a"):
            services.pile.keep_step(msgspec.structs.replace(a, needs=(c.id,)))
        assert services.pile.step(a.id).needs == ()

    def test_two_ways_to_one_step_are_no_circle(self, services, scales):
        a = services.pile.keep_step(step_of(scales, "a"))
        b = services.pile.keep_step(step_of(scales, "b", needs=(a.id,)))
        c = services.pile.keep_step(step_of(scales, "c", needs=(a.id,)))
        assert services.pile.keep_step(step_of(scales, "d", needs=(b.id, c.id)))

    def test_a_step_stays_in_its_topic(self, services, scales):
        kept = services.pile.keep_step(step_of(scales))
        other = services.pile.add("Tune")
        with pytest.raises(RuleError, match="cannot be moved to another topic"):
            services.pile.keep_step(msgspec.structs.replace(kept, topic_id=other.id))

    def test_and_its_topic_must_be_there(self, services):
        with pytest.raises(NotFoundError, match="topic was not found"):
            services.pile.keep_step(step())

    @pytest.mark.parametrize(
        ("criterion", "words"),
        [
            (Criterion(tests=()), "must not be empty"),
            (Criterion(tests=(TempoTest(mark=-1),)), "must be above 0"),
            (Criterion(tests=(TempoTest(mark=401),)), "must be at most 400"),
            (Criterion(tests=(OwnQuestionTest(question=" ? "),)), "question is empty"),
            (Criterion(tests=(ConditionsTest(stated=("",)),)), "question is empty"),
            (
                Criterion(
                    tests=(OwnQuestionTest(question="free"),), times=Times(wanted=5, among=3)
                ),
                "5 of 3 times is not possible",
            ),
        ],
    )
    def test_a_criterion_that_asks_nothing_or_too_much(self, services, scales, criterion, words):
        with pytest.raises(RuleError, match=words):
            services.pile.keep_step(step_of(scales, criterion=criterion))
        assert services.state().steps == {}

    def test_need_of_no_minutes(self, services, scales):
        with pytest.raises(RuleError, match="need min must be at least 1"):
            services.pile.keep_step(step_of(scales, need_min=0))

    def test_steps_of_two_topics_are_not_put_in_one_order(self, services, scales):
        other = services.pile.keep_step(step_of(services.pile.add("Tune"), "head"))
        with pytest.raises(RuleError, match="another topic"):
            services.pile.order_steps(scales.id, [other.id])


class TestPassages:
    def test_notation_is_read_when_it_comes_in(self, services, air):
        stored = services.pile.keep_passage(air, "air.abc")
        assert (stored.title, stored.format, stored.text) == ("Air", "abc", air.decode())
        assert [n.pitch for n in services.pile.passage(stored.id).notes][:4] == [60, 62, 64, 65]

    def test_a_title_of_ones_own(self, services, air):
        assert services.pile.keep_passage(air, "air.abc", title=" My air ").title == "My air"

    def test_the_same_notation_is_kept_once(self, services, air):
        first = services.pile.keep_passage(air, "air.abc")
        assert services.pile.keep_passage(air, "copy.abc") == first
        assert len(log_of(services)) == 1

    @pytest.mark.parametrize(
        ("data", "name"),
        [
            (b"", "empty.abc"),
            (b"<score-partwise><part>", "broken.musicxml"),
            (b"MThd\0\0\0\6\0\1\0\1\1\xe0MTrk", "renamed.musicxml"),
            (b"\x89PNG\r\n", "picture.mxl"),
        ],
    )
    def test_what_cannot_be_read_is_not_kept(self, services, data, name):
        with pytest.raises(PassageError) as told:
            services.pile.keep_passage(data, name)
        assert str(told.value)
        assert log_of(services) == []

    def test_an_exercise_has_its_own_bars(self, services, scales, air):
        stored = services.pile.keep_passage(air, "air.abc")
        ref = PassageRef(passage_id=stored.id, first_bar=2, last_bar=2)
        kept = services.pile.keep_step(step_of(scales, exercise=Exercise(passage=ref)))
        passage = services.pile.exercise_passage(kept)
        assert [n.pitch for n in passage.notes] == [67, 65, 64, 62]
        assert services.pile.exercise_passage(step_of(scales, "other")) is None

    @pytest.mark.parametrize(("first", "last"), [(2, 1), (3, 4), (9, None)])
    def test_bars_that_are_not_there(self, services, scales, air, first, last):
        stored = services.pile.keep_passage(air, "air.abc")
        ref = PassageRef(passage_id=stored.id, first_bar=first, last_bar=last)
        with pytest.raises(RuleError, match="this passage of 3 bars"):
            services.pile.keep_step(step_of(scales, exercise=Exercise(passage=ref)))

    def test_a_passage_that_is_not_there(self, services, scales):
        exercise = Exercise(passage=PassageRef(passage_id="gone"))
        with pytest.raises(NotFoundError, match="passage was not found"):
            services.pile.keep_step(step_of(scales, exercise=exercise))


class TestSettings:
    def test_defaults_until_chosen(self, services):
        assert services.settings.all()["period_cap"] == 30
        services.settings.choose("period_cap", " 40 ")
        assert services.settings.all()["period_cap"] == 40

    @pytest.mark.parametrize("text", ["61", "4", "x", "", "12.5"])
    def test_limits_are_said(self, services, text):
        with pytest.raises(RuleError, match="from 5 to 60"):
            services.settings.choose("period_cap", text)

    def test_an_unknown_name(self, services):
        with pytest.raises(RuleError, match="setting “speed” does not exist"):
            services.settings.choose("speed", "1")

    def test_a_least_value_stays_below_its_most(self, services):
        with pytest.raises(
            RuleError, match="20 does not go with “Longest slot for working on a step”, which is 12"
        ):
            services.settings.choose("slot_least", "20")
        assert log_of(services) == []
