"""A take is deleted for good: looked for byte by byte in folder, database and copies."""

import io
import shutil
from datetime import timedelta
from pathlib import Path

import msgspec
import numpy as np
import pytest
import soundfile

from coldtake.bootstrap import open_services, source_of
from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.domain.ids import named_id
from coldtake.domain.take import (
    Answer,
    ClickTrack,
    Figure,
    FirstTry,
    Judge,
    NewTake,
    NoteEvidence,
    NoteStatus,
    Verdict,
)
from coldtake.domain.topic import KeepTakes
from coldtake.errors import NotFoundError
from coldtake.practice.sessions.deleting import not_kept
from coldtake.practice.state.snapshots import MAKER
from coldtake.practice.state.state_projection import NAME
from making import NOON, SteppingClock, step

SECRET, OTHER = named_id("secret take"), named_id("other take")
# What stands in the evidence of the one take and nowhere else.
MARKS = (b"evidence-of-the-secret", b"reason-of-the-secret", b"figure-of-the-secret", b"731.8125")


def noise(seed: int, seconds: float = 1.0) -> bytes:
    out = io.BytesIO()
    samples = np.random.default_rng(seed).normal(0, 0.1, int(8000 * seconds))
    soundfile.write(out, samples, 8000, format="WAV", subtype="PCM_16")
    return out.getvalue()


def verdict(name: str = "secret", answer: Answer = Answer.NO) -> Verdict:
    notes = tuple(
        NoteEvidence(id=f"n{i}", status=NoteStatus.WRONG, words=f"evidence-of-the-{name} {i} " * 9)
        for i in range(40)
    )
    figure = Figure(
        name="notes",
        value=731.8125 if name == "secret" else 1.0,
        uncertainty=None,
        threshold=0.0,
        unit="",
        passed=False,
        words=f"figure-of-the-{name}",
    )
    return Verdict(
        answer=answer,
        reason=f"reason-of-the-{name}",
        tempo_bpm=84.0,
        tests=(figure,),
        notes=notes,
        engine="line-9",
    )


def keep(services, one, take_id: str, seed: int, days: int = 0, **more) -> None:
    at = NOON + timedelta(minutes=seed, days=days)
    new = NewTake(step_id=one.id, take_id=take_id, at=at, day=at.date(), **more)
    services.takes.keep(noise(seed), new, "take.wav")
    name = "secret" if take_id == SECRET else "other"
    take = services.state().takes[take_id]
    judged = ev.TakeJudged(take_id=take_id, verdict=verdict(name))
    answered = ev.TryAnswered(
        try_id=take_id,
        step_id=one.id,
        answer=Answer.NO,
        judge=Judge.TOOL,
        take_id=take_id,
        tempo_bpm=84.0,
    )
    services.append(judged, answered, at=take.at, day=take.day)


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A folder with two takes, their verdicts, a copy of an earlier day and one of today."""
    folder, clock = tmp_path_factory.mktemp("filled"), SteppingClock()
    services = open_services(folder, clock=clock)
    topic = services.pile.add("Air")
    one = services.pile.keep_step(msgspec.structs.replace(step(), topic_id=topic.id))
    keep(services, one, SECRET, 1, click=ClickTrack(first_s=0.0, every_s=0.731_812_5))
    keep(services, one, OTHER, 2)
    services.care.copy()
    clock.go_on(days=1)
    services.append(ev.FirstTrySaid(take_id=OTHER, first_try=FirstTry.NO))
    services.care.copy()
    services.log._memory.saving()()  # the state lies on the shelf, the take with it
    services.close()
    return folder


@pytest.fixture
def clock():
    return SteppingClock(NOON + timedelta(days=1, hours=1))


@pytest.fixture
def services(filled, tmp_path, clock):
    shutil.copytree(filled, tmp_path / "data")
    opened = open_services(tmp_path / "data", clock=clock)
    yield opened
    opened.close()


@pytest.fixture
def folder(services, tmp_path):
    return tmp_path / "data"


def found_in(folder: Path, needles) -> dict[str, list[bytes]]:
    """Look for bytes in every file of a folder."""
    found = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        data = path.read_bytes()
        held = [needle for needle in needles if needle in data]
        if held:
            found[str(path.relative_to(folder))] = held
    return found


def needles(services) -> tuple[bytes, ...]:
    """Bytes of the sound (from its middle), its checksum, and words of the evidence."""
    sound = services.takes.sound(SECRET).read_bytes()
    middle = len(sound) // 2
    sha256 = services.state().takes[SECRET].sha256
    return (sound[middle : middle + 64], sha256.encode(), *MARKS)


def test_nothing_of_a_deleted_take_is_left_byte_by_byte(services, folder):
    wanted = needles(services)
    before = found_in(folder, wanted)
    held = {needle for some in before.values() for needle in some}
    assert held == set(wanted), "else the search would prove nothing"
    assert len([name for name in before if name.startswith("copies/")]) == 2
    assert services.store.fetch(NAME, MAKER), (
        "packed, so that a search for words cannot see into it"
    )
    done = services.deleting.delete([SECRET])
    assert (done.takes, done.left) == (1, ())
    assert services.store.fetch(NAME, MAKER) is None
    assert found_in(folder, wanted) == {}
    services.close()
    assert found_in(folder, wanted) == {}


def test_what_stays_is_the_answer_and_that_something_was_deleted(services):
    before = services.state()
    services.deleting.delete([SECRET])
    state = services.state()
    [first, second] = state.step_tries(before.takes[SECRET].step_id)
    assert (first.answer, first.cold, first.tempo_bpm) == (Answer.NO, True, 84.0)
    assert second == before.tries[OTHER]
    assert set(state.takes) == {OTHER}
    assert state.takes_deleted[SECRET].step_id == first.step_id
    said = [e for _, e in services.store.events() if isinstance(e.data, ev.TakeDeleted)]
    assert [(e.day, e.data.take_id) for e in said] == [(services.today(), SECRET)]
    with pytest.raises(NotFoundError):
        services.takes.get(SECRET)


def test_an_emptied_log_comes_to_the_same_as_the_whole_one(services):
    whole = [event for _, event in services.store.events()]
    services.deleting.delete([SECRET])
    emptied = [event for _, event in services.store.events()]
    assert len(emptied) == len(whole) + 1
    assert [(e.id, e.at, e.day) for e in emptied[:-1]] == [(e.id, e.at, e.day) for e in whole]
    assert fold(emptied) == fold([*whole, emptied[-1]]) == services.state()


def test_checks_copies_archives_and_a_new_start_go_on(services, folder, tmp_path, clock):
    services.deleting.delete([SECRET])
    checked = services.care.check()
    assert checked.sound
    assert (checked.takes, checked.strays) == (1, ())
    clock.go_on(days=1)
    assert services.care.copy() is not None
    exported = services.archiving.export(tmp_path / "out.zip")
    assert (exported.takes, exported.missing_takes) == (1, ())
    state = services.state()
    services.close()
    again = open_services(folder, clock=clock)
    assert again.care.fresh() == ()
    assert again.state() == state
    again.close()


@pytest.mark.parametrize("older", ["archive", "copy"])
def test_an_older_archive_or_copy_brings_nothing_back(services, folder, tmp_path, older):
    if older == "archive":
        path = tmp_path / "older.zip"
        services.archiving.export(path)
    else:
        path = shutil.copy(max((folder / "copies").iterdir()), tmp_path / "older.db")
    wanted = needles(services)
    services.deleting.delete([SECRET])
    with source_of(Path(path)) as source:
        services.archiving.restore(source, merge=True)
    assert set(services.state().takes) == {OTHER}
    assert found_in(folder, wanted) == {}


def test_an_archive_in_which_it_is_deleted_deletes_it(services, filled, tmp_path, clock):
    services.deleting.delete([SECRET])
    services.archiving.export(tmp_path / "newer.zip")
    shutil.copytree(filled, tmp_path / "other")
    other = open_services(tmp_path / "other", clock=clock)
    wanted = needles(other)
    with source_of(tmp_path / "newer.zip") as source:
        other.archiving.restore(source, merge=True)
    assert set(other.state().takes) == {OTHER}
    other.care.forget([SECRET])
    other.care.forget_noted()
    assert found_in(tmp_path / "other", wanted) == {}
    other.close()


def test_a_device_that_sends_it_again_may_let_go_of_it(services, folder):
    wanted = needles(services)
    one = services.state().takes[SECRET].step_id
    services.deleting.delete([SECRET])
    kept = services.takes.keep(noise(1), NewTake(step_id=one, take_id=SECRET), "take.wav")
    assert kept.id == SECRET
    assert SECRET not in services.state().takes
    assert found_in(folder, wanted) == {}


def test_what_was_interrupted_is_ended_at_the_next_start(services, folder, monkeypatch):
    wanted = needles(services)
    monkeypatch.setattr(services.care, "forget", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        services.deleting.delete([SECRET])
    assert found_in(folder, wanted), "cut off after the log"
    monkeypatch.undo()
    services.deleting.tidy()
    assert found_in(folder, wanted) == {}


def test_copies_on_another_disk_are_cleaned_when_it_is_back(services, folder, tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    services.care.choose_folder(disk)
    services.append(ev.FirstTrySaid(take_id=OTHER, first_try=FirstTry.YES))
    services.care.copy()
    wanted = needles(services)
    assert found_in(disk, wanted).keys() > {f"takes/{SECRET}.flac"}
    disk.rename(tmp_path / "away")
    assert services.deleting.delete([SECRET]).left == (str(disk),)
    assert found_in(folder, wanted) == {}
    (tmp_path / "away").rename(disk)
    assert services.care.forget_noted() == ()
    assert found_in(disk, wanted) == {}


def test_takes_are_chosen_by_topic_and_day(services):
    topic = services.pile.add("Another")
    one = services.pile.keep_step(msgspec.structs.replace(step("two"), topic_id=topic.id))
    keep(services, one, named_id("third"), 5, days=1)
    ids = [SECRET, OTHER, named_id("third")]
    today = services.today()
    assert [t.id for t in services.deleting.chosen()] == ids
    assert [t.id for t in services.deleting.chosen(before=today)] == ids[:2]
    assert [t.id for t in services.deleting.chosen(topic.id)] == ids[2:]
    assert services.deleting.chosen(topic.id, today) == ()
    assert services.deleting.delete(ids).takes == 3
    assert not services.state().takes


@pytest.mark.parametrize(
    ("rule", "left"),
    [(KeepTakes.ALL, {SECRET, OTHER}), (KeepTakes.FIRST_TRIES, {SECRET}), (KeepTakes.NONE, set())],
)
def test_a_topic_keeps_what_it_says_from_the_day_on_which_it_says_so(services, rule, left):
    [topic] = services.state().topics.values()
    day = services.state().takes[SECRET].day
    for since, expected in ((day + timedelta(days=1), {SECRET, OTHER}), (day, left)):
        services.pile.keep_topic(
            msgspec.structs.replace(topic, keep_takes=rule, keep_takes_from=since)
        )
        assert not not_kept(services.state(), day), "its day is not over"
        services.deleting.tidy()
        assert set(services.state().takes) == expected
    assert len(services.state().tries) == 2
