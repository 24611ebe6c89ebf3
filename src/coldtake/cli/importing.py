"""`coldtake import`: notation from files and folders."""

from argparse import Namespace
from pathlib import Path

from coldtake.cli.opened import ShownProgress, print_json, services_of
from coldtake.practice.topics.importing import Imported, folder

_BAD_INPUT = 2


def run(arguments: Namespace) -> int:
    """Keep what can be read; 2 when nothing could."""
    files = [file for path in arguments.paths for file in folder(Path(path))]
    with services_of(arguments) as services:
        found = services.importing.keep(files, ShownProgress())
    if arguments.json:
        print_json(_record(found))
    else:
        _print(found)
    return 0 if found.kept else _BAD_INPUT


def _print(found: Imported) -> None:
    for kept in found.kept:
        state = "already saved" if kept.known else f"{kept.bars} bar{'' if kept.bars == 1 else 's'}"
        print(f"{kept.passage.title}: {state}")
        for sentence in kept.said:
            print(f"  {sentence}")
    for name, reason in found.refused:
        print(f"Not imported: {name}: {reason.removeprefix(f'{name}: ')}")
    print(found.words())


def _record(found: Imported) -> dict[str, object]:
    kept = [
        {
            "passage_id": k.passage.id,
            "title": k.passage.title,
            "bars": k.bars,
            "notes": k.notes,
            "parts": k.parts,
            "said": k.said,
            "known": k.known,
        }
        for k in found.kept
    ]
    return {"kept": kept, "refused": [{"name": n, "reason": r} for n, r in found.refused]}
