"""What reads bytes from outside, each as one call; only the house's own errors may come out."""

import atexit
import shutil
import tempfile
from collections.abc import Callable
from functools import lru_cache, partial
from pathlib import Path

from coldtake.errors import ColdtakeError, PassageError

Reader = Callable[[bytes], None]


def notation(data: bytes, name: str) -> None:
    """As the pile reads an upload, then what every page asks of a passage."""
    from coldtake.music.notation.changes import changes_of
    from coldtake.music.notation.reading.excerpt import select_bars
    from coldtake.music.notation.reading.reader import read_passage, unpack

    form, text = unpack(data, name)
    passage = read_passage.__wrapped__(text, form)
    select_bars(passage, 1, 1)
    changes_of(passage)
    if not passage.notes or not passage.bars:
        raise AssertionError("a passage without notes was let in")


def abc(data: bytes) -> None:
    """A tune book first, then the text as one tune."""
    from coldtake.music.abc.book import tunes_in

    for tune in tunes_in(data.decode("latin-1"))[:2]:
        _quiet(lambda tune=tune: notation(tune.text.encode(), "tune.abc"))
    notation(data, "passage.abc")


def midi(data: bytes) -> None:
    """Quantised to a page, then that page as a passage; a file with several parts by its first."""
    from coldtake.music.midi.choice import ImportChoice
    from coldtake.music.midi.page import midi_page

    try:
        page = midi_page(data, "part.mid")
    except PassageError:
        page = midi_page(data, "part.mid", ImportChoice(part=1))
    notation(page.abc.encode(), "page.abc")


def audio(data: bytes) -> None:
    from coldtake.listening.sources.sound import read_sound, to_flac

    to_flac(read_sound(data, "take.wav"))


def chords(data: bytes) -> None:
    """A line of changes, and its words as single chord symbols."""
    from coldtake.music.notation.reading.charts import read_changes, read_chart
    from coldtake.music.theory.chords import read_chord

    text = data.decode("utf-8", "replace")
    for word in text.split()[:8]:
        _quiet(lambda word=word: read_chord(word))
    _quiet(lambda: read_chart(text).changes())
    read_changes(text)


def _quiet(call: Callable[[], object]) -> None:
    try:
        call()
    except PassageError:
        return


@lru_cache(maxsize=1)
def _client() -> "TestClient":  # type: ignore[name-defined] # noqa: F821
    """The whole application over a folder of its own."""
    import warnings

    with warnings.catch_warnings():  # the test client asks for httpx2; httpx serves it as well
        warnings.simplefilter("ignore")
        from starlette.testclient import TestClient

    from coldtake.bootstrap import open_services
    from coldtake.web.app import create_app

    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    services = open_services(folder)
    atexit.register(shutil.rmtree, folder, True)
    atexit.register(services.close)
    return TestClient(create_app(services), base_url="http://localhost")


def events(data: bytes) -> None:
    """The session page's own door; the log is read back by the page that shows the session."""
    headers = {"Content-Type": "application/json"}
    path = "/api/session/start" if data[:1] == b"{" else "/api/events"
    answer = _client().post(path, content=data, headers=headers)
    if answer.status_code >= 500:
        raise AssertionError(f"{answer.status_code} {answer.text[:200]}")
    if answer.status_code == 422:
        raise ColdtakeError(answer.json()["error"]["what"])


@lru_cache(maxsize=1)
def _empty() -> Path:
    """A data folder with its tables and nothing in them; copying it is faster than making it."""
    from coldtake.bootstrap import open_services

    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    atexit.register(shutil.rmtree, folder, True)
    open_services(folder / "empty").close()
    return folder


def archive(data: bytes) -> None:
    """Restored into an empty folder; whatever happens, the log there stays readable."""
    from coldtake.bootstrap import open_services
    from coldtake.practice.archive import Archive, restore

    target, file = _empty() / "target", _empty() / "archive.zip"
    shutil.rmtree(target, ignore_errors=True)
    shutil.copytree(_empty() / "empty", target)
    file.write_bytes(data)
    services = open_services(target)
    try:
        with Archive(file) as source:
            restore(services, source)
    finally:
        services.state()
        services.close()


READERS: dict[str, Reader] = {
    "abc": abc,
    "archive": archive,
    "audio": audio,
    "chords": chords,
    "events": events,
    "mei": partial(notation, name="passage.mei"),
    "midi": midi,
    "musicxml": partial(notation, name="passage.musicxml"),
}
