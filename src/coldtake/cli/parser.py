"""Commands and options of the command line."""

import argparse
from collections.abc import Callable
from datetime import date, time, timedelta
from typing import NoReturn

from coldtake import __version__
from coldtake.errors import InputError
from coldtake.listening.sources.containers import NAMES

# Each command and the module of this room that runs it.
COMMANDS = {
    "serve": "serve",
    "plan": "plan",
    "listen": "listen",
    "read": "read",
    "outlook": "outlook",
    "what-if": "what_if",
    "topics": "topics",
    "import": "importing",
    "export": "export",
    "restore": "restore",
    "copies": "copies",
    "check": "check",
    "rejudge": "rejudge",
    "print": "print",
    "demo": "demo",
}
DEFAULT = "serve"
PORT = 8437
TEMPO_MOST = 400.0
REQUIREMENTS = ("people", "place", "instrument", "piano", "quiet", "recorder")


class Parser(argparse.ArgumentParser):
    """An argument parser whose complaints are errors of our own tree."""

    def error(self, message: str) -> NoReturn:
        """Raise InputError instead of printing the usage."""
        command = self.prog.removeprefix("coldtake").strip()
        remedy = f"See coldtake {command} --help." if command else "See coldtake --help."
        raise InputError(message.rstrip(".") + ".", where=command, remedy=remedy)


def build_parser() -> argparse.ArgumentParser:
    """Build the parser with every command."""
    parser = Parser(
        prog="coldtake",
        description="Plans practice, runs sessions and judges takes, so that music is clean at the "
        "first try. Without a command it starts the app.",
    )
    parser.add_argument("--version", action="version", version=f"coldtake {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)
    for add in (
        _serve,
        _plan,
        _listen,
        _read,
        _outlook,
        _what_if,
        _topics,
        _rejudge,
        _print,
        _demo,
    ):
        add(commands)
    for add in (_import, _export, _restore, _copies, _check):
        add(commands)
    return parser


Commands = argparse._SubParsersAction  # argparse has no public name for it


def _with_data(commands: "Commands[Parser]", name: str, words: str) -> Parser:
    parser = commands.add_parser(name, help=words, description=words)
    parser.add_argument(
        "--data", metavar="DIR", help="data folder (else COLDTAKE_DATA, else the platform's own)"
    )
    return parser


def _json(parser: Parser) -> None:
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")


def _serve(commands: "Commands[Parser]") -> None:
    parser = _with_data(commands, "serve", "start the app on this machine (the default)")
    parser.add_argument(
        "--port",
        type=_number(int, 0, 65535),
        default=PORT,
        metavar="N",
        help=f"port to listen on (default {PORT}; 0, or one that is taken: any free one)",
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")
    parser.add_argument(
        "--share",
        nargs="?",
        const="",
        metavar="ADDRESS[:PORT]",
        help="share with one paired tablet or phone in the local network, over TLS",
    )
    parser.add_argument(
        "--demo", action="store_true", help="fill an empty data folder with the example first"
    )
    parser.add_argument(
        "--new-log",
        action="store_true",
        help="start an empty log in a folder whose own log is missing",
    )
    _json(parser)


def _plan(commands: "Commands[Parser]") -> None:
    parser = _with_data(commands, "plan", "show the plan of a day; make it if there is none")
    parser.add_argument(
        "--day", type=_day, metavar="DATE", help="2027-01-31, today or tomorrow (default tomorrow)"
    )
    parser.add_argument("--minutes", type=_whole, metavar="N", help="minutes for the session")
    parser.add_argument(
        "--start",
        type=_clock,
        metavar="HH:MM",
        help="when the session starts; where none of that day does, a further one is planned",
    )
    parser.add_argument(
        "--session",
        type=_whole,
        metavar="N",
        help="which session of that day is shown or changed, counted as they were added",
    )
    parser.add_argument(
        "--with",
        action="append",
        type=_requirement,
        dest="at_hand",
        metavar="WHAT[:NOTE]",
        help="what is there that day besides what usually is: people, place, instrument, piano, "
        "quiet or recorder, and whose or which it is (people:the quintet); none: nothing more",
    )
    _json(parser)


def _listen(commands: "Commands[Parser]") -> None:
    words = "judge a recorded take against a passage"
    statuses = (
        "Exit status: 0 yes, 1 no, 3 cannot tell, 2 bad input, 70 a fault of Coldtake itself: no "
        "answer about the take."
    )
    parser = commands.add_parser("listen", help=words, description=words, epilog=statuses)
    parser.add_argument("take", metavar="TAKE", help=f"{', '.join(NAMES)} or MIDI")
    parser.add_argument(
        "--passage", required=True, metavar="FILE", help="MusicXML (.musicxml, .mxl), MEI or ABC"
    )
    parser.add_argument(
        "--tempo",
        type=_number(float, 1.0, TEMPO_MOST),
        metavar="BPM",
        help="ask for this tempo, in quarter notes per minute (within 10 %%)",
    )
    parser.add_argument("--bars", type=_bars, metavar="N-M", help="only these bars, as played")
    parser.add_argument(
        "--click",
        type=_number(float, 1.0, TEMPO_MOST),
        metavar="BPM",
        help="there was a click at this tempo",
    )
    instead = parser.add_mutually_exclusive_group()
    instead.add_argument(
        "--choruses",
        type=_number(int, 1, 12),
        metavar="N",
        help="N improvised choruses over the chord symbols, not the written notes",
    )
    instead.add_argument(
        "--rhythm", action="store_true", help="only the rhythm counts: clapped, on drums"
    )
    _json(parser)


def _read(commands: "Commands[Parser]") -> None:
    words = "read printed music: a page of a PDF, a scan or a photo"
    parser = commands.add_parser("read", help=words, description=words)
    parser.add_argument("file", metavar="PAGE", help="PDF, PNG or JPEG, of single staves")
    parser.add_argument(
        "--page",
        type=_number(int, 1, 2000),
        default=1,
        metavar="N",
        help="page of a PDF (default 1)",
    )
    parser.add_argument("--musicxml", metavar="FILE", help="the .musicxml to write")
    parser.add_argument("--replace", action="store_true", help="replace that file if it exists")
    _json(parser)


def _outlook(commands: "Commands[Parser]") -> None:
    parser = _with_data(commands, "outlook", "what will be ready on its date, with ranges")
    parser.add_argument(
        "--minutes",
        type=_number(int, 1, 720),
        metavar="N",
        help="minutes of practice per day",
    )
    _json(parser)


def _what_if(commands: "Commands[Parser]") -> None:
    words = "what each topic gains or loses by one change; nothing is saved"
    parser = _with_data(commands, "what-if", words)
    named = "a topic, by its title or id"
    parser.add_argument("--take-on", action="append", metavar="TOPIC", help=f"make {named} current")
    parser.add_argument("--leave", action="append", metavar="TOPIC", help="move a topic to waiting")
    parser.add_argument(
        "--minutes", type=_number(int, -720, 720), metavar="N", help="minutes more on each day"
    )
    parser.add_argument("--free-from", type=_day, metavar="DATE", help="first day without practice")
    parser.add_argument(
        "--free-days", type=_number(int, 1, 84), metavar="N", help="number of days without practice"
    )
    parser.add_argument(
        "--date", action="append", nargs=2, metavar=("TOPIC", "DATE"), help="another date, or none"
    )
    parser.add_argument(
        "--importance",
        action="append",
        nargs=2,
        metavar=("TOPIC", "1-5"),
        help="another importance",
    )
    _json(parser)


def _topics(commands: "Commands[Parser]") -> None:
    _json(_with_data(commands, "topics", "every topic with its status and steps"))


def _import(commands: "Commands[Parser]") -> None:
    words = "import notation: files, tunebooks, MIDI files, or a folder of them"
    parser = _with_data(commands, "import", words)
    parser.add_argument(
        "paths",
        metavar="FILE-OR-FOLDER",
        nargs="+",
        help="MusicXML (.musicxml, .xml, .mxl), MEI, ABC or MIDI (.mid), or a folder",
    )
    _json(parser)


def _export(commands: "Commands[Parser]") -> None:
    parser = _with_data(commands, "export", "export everything into one file in open formats")
    parser.add_argument("archive", metavar="FILE", help="the .zip to write")
    parser.add_argument("--replace", action="store_true", help="replace that file if it exists")
    _json(parser)


def _print(commands: "Commands[Parser]") -> None:
    words = "print a plan or exercises as a PDF"
    parser = _with_data(commands, "print", words)
    parser.add_argument(
        "--plan", type=_day, metavar="DAY", help="2027-01-31, today or tomorrow (the default)"
    )
    parser.add_argument("--steps", action="append", metavar="ID,ID", help="these steps' exercises")
    parser.add_argument("--topic", metavar="ID", help="the exercises of a topic")
    parser.add_argument("--paper", default="A4", metavar="NAME", help="A4 (default) or letter")
    parser.add_argument(
        "-o", "--output", default="coldtake.pdf", metavar="FILE", help="the .pdf to write"
    )
    parser.add_argument("--replace", action="store_true", help="replace that file if it exists")
    _json(parser)


def _rejudge(commands: "Commands[Parser]") -> None:
    words = "judge again the takes that an older version judged; older verdicts stay"
    _json(_with_data(commands, "rejudge", words))


def _restore(commands: "Commands[Parser]") -> None:
    parser = _with_data(commands, "restore", "restore an export or a backup of the log")
    parser.add_argument("archive", metavar="FILE", help="the .zip, or the .db of a copy")
    parser.add_argument("--merge", action="store_true", help="merge it with the existing data")
    _json(parser)


def _copies(commands: "Commands[Parser]") -> None:
    parser = _with_data(
        commands, "copies", "show the automatic backups of the log and their folder"
    )
    parser.add_argument("--now", action="store_true", help="make a backup now")
    parser.add_argument(
        "--to",
        metavar="DIR",
        help="save backups in this folder, takes too; empty: in the data folder",
    )
    _json(parser)


def _check(commands: "Commands[Parser]") -> None:
    words = "check every log entry and every take, and repair damage"
    _json(_with_data(commands, "check", words))


def _demo(commands: "Commands[Parser]") -> None:
    _json(_with_data(commands, "demo", "fill an empty data folder with an invented example"))


def _number(kind: Callable[[str], float], least: float, most: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = kind(text)
        if not least <= value <= most:
            raise argparse.ArgumentTypeError(f"{text} is not from {least:g} to {most:g}")
        return value

    read.__name__ = "number"  # argparse names the kind in its complaint
    return read


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"“{text}” is not a whole number") from None


def _day(text: str) -> date | timedelta:
    """Read a date, or days from today."""
    near = {"today": timedelta(0), "tomorrow": timedelta(days=1)}
    if text in near:
        return near[text]
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"“{text}” is not a date such as 2027-01-31") from None


def _requirement(text: str) -> tuple[str, str]:
    """Read what is at hand, and the note on it; “none” is nothing more than usual."""
    what, _, note = text.partition(":")
    if what not in ("none", *REQUIREMENTS):
        known = ", ".join(REQUIREMENTS)
        raise argparse.ArgumentTypeError(f"“{what}” is not one of {known} or none")
    return what, " ".join(note.split())


def _clock(text: str) -> time:
    try:
        return time.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        raise argparse.ArgumentTypeError(f"“{text}” is not a time such as 17:30") from None


def _bars(text: str) -> tuple[int, int]:
    first, _, last = text.partition("-")
    try:
        return int(first), int(last or first)
    except ValueError:
        raise argparse.ArgumentTypeError(f"“{text}” is not bars such as 5-8") from None
