"""Your data: what the last look found, copies, repairs, and an archive brought back."""

from desk import words

from coldtake.bootstrap import open_services, source_of
from coldtake.domain.events import SettingChosen
from coldtake.practice.archive import export
from making import SteppingClock


def archive_of(tmp_path, titles=("one", "two")):
    other = open_services(tmp_path / "other", clock=SteppingClock())
    for title in titles:
        other.pile.add(title)
    export(other, tmp_path / "all.zip")
    other.care.copy()
    [copy] = other.care.copies()
    events = list(other.store.events())
    other.close()
    return tmp_path / "all.zip", tmp_path / "other" / "copies" / copy.name, events


def sent(client, path, **fields):
    files = {"archive": (path.name, path.read_bytes())}
    return client.post("/data/restore", files=files, data=fields)


def test_the_page_says_how_things_stand(client, services):
    assert "Not checked yet" in words(client.get("/data").text)
    services.pile.add("scales")
    services.care.check()
    assert "No problems found" in words(client.get("/data").text)
    assert "No backup yet" in words(client.get("/data").text)
    assert client.post("/data/copy").status_code == 200
    assert "12 January 2027" in words(client.get("/data").text)


def test_a_setting_that_is_not_valid_locks_no_page(client, services):
    for name, value in (("period_cap", "a lot"), ("slot_least", "30"), ("a4_hz", "9" * 5000)):
        services.append(SettingChosen(name=name, value=value))
    for path in ("/", "/tomorrow", "/session", "/outlook", "/tuner", "/progress"):
        assert client.get(path).status_code == 200, path
    assert "period_cap “a lot”: the default is used" in words(client.get("/data").text)
    page = words(client.get("/settings").text)
    assert "The stored value “a lot” is not valid. 30 min is used." in page
    assert page.count("is not valid") == 3
    for name, value in (("period_cap", "30"), ("slot_least", "4"), ("a4_hz", "440")):
        assert client.post("/settings", data={name: value}).status_code == 200
    assert "not valid" not in words(client.get("/settings").text)
    assert "not valid" not in words(client.get("/data").text)


def test_what_is_amiss_is_named(client, services, desk):
    from coldtake.domain import events as ev

    step = desk.step(desk.topic())
    take_id = services.log.new_id()
    recorded = ev.TakeRecorded(
        take_id=take_id, step_id=step.id, duration_s=1, sample_rate=8000, sha256="0" * 64
    )
    services.append(recorded)
    services.care.check()
    page = client.get("/data")
    assert "Problems found" in words(page.text)
    assert f'href="/takes/{take_id}"' in page.text


def test_an_archive_and_a_copy_are_brought_back(client, services, tmp_path):
    client.app.state.open_source = source_of
    archive, copy, events = archive_of(tmp_path)
    assert sent(client, archive).status_code == 200
    services.jobs.wait()
    assert "Restored: 2 log entries and 0 takes" in services.jobs.now().words
    assert list(services.store.events()) == events
    sent(client, copy)
    services.jobs.wait()
    assert "2 log entries were already here" in services.jobs.now().words


def test_what_cannot_be_brought_back_is_said_and_changes_nothing(client, services, tmp_path):
    (tmp_path / "x.zip").write_bytes(b"no archive")
    sent(client, tmp_path / "x.zip")
    services.jobs.wait()
    assert "not an export" in services.jobs.now().fault.what
    assert services.is_empty()
    empty = client.post("/data/restore", data={})
    assert empty.status_code == 422
    assert "Choose an export" in words(empty.text)


def test_two_logs_only_come_together_on_request(client, services, tmp_path, clock):
    clock.go_on(hours=1)
    services.pile.add("mine")
    archive, _, _ = archive_of(tmp_path)
    sent(client, archive)
    services.jobs.wait()
    assert "does not have" in services.jobs.now().fault.what
    services.jobs.seen()
    sent(client, archive, merge="yes")
    services.jobs.wait()
    assert {t.title for t in services.state().topics.values()} == {"mine", "one", "two"}
