"""How rightly pages are read, by engraver and grade.

    python measure.py PAGES [--grades vector,scan,photo,poor] [--json OUT]

PAGES is a folder made by `pages.py`. `vector` is the PDF itself; the other grades are the same page
drawn at 300 or 200 dots per inch and spoilt (`grades.py`).
"""

import argparse
import collections
import difflib
import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[2] / "src"))
import grades

from coldtake.errors import ColdtakeError
from coldtake.music.print.reading import read_page


def got_bars(data: bytes, number: int = 1):
    page = read_page(data, number)
    out = []
    for staff in page.staves:
        for bar in staff.bars:
            notes = [(n.pitch, round(n.beats, 4), n.tie, n.grace) for n in bar.notes]
            out.append((notes, bar.doubtful, bar))
    return out


def compared(want, got):
    """(notes, notes right, bars, bars right, wrong marked, wrong, right marked, mistakes)."""
    wanted = [[(p, round(b, 4), t, g) for p, b, t, g in bar] for bar in want]
    # bars are laid along each other: whole bars first, then one by one between
    a = [json.dumps([n[:2] for n in bar]) for bar in wanted]
    b = [json.dumps([list(n[:2]) for n in bar]) for bar, _, _ in got]
    pairs = []
    for op, i1, i2, j1, j2 in difflib.SequenceMatcher(None, a, b, autojunk=False).get_opcodes():
        if op == "equal" or i2 - i1 == j2 - j1:
            pairs += list(zip(range(i1, i2), range(j1, j2), strict=True))
        else:
            for k in range(max(i2 - i1, j2 - j1)):
                pairs.append((i1 + k if i1 + k < i2 else None, j1 + k if j1 + k < j2 else None))
    c = collections.Counter()
    mistakes, beside = [], False
    for i, j in pairs:
        w = wanted[i] if i is not None else []
        g, marked = (got[j][0], got[j][1]) if j is not None else ([], beside)
        beside = marked  # a bar that is missing counts as marked when the one before it is
        ww, gg = [n[:2] for n in w], [n[:2] for n in g]
        same = sum(m.size for m in difflib.SequenceMatcher(
            None, ww, gg, autojunk=False).get_matching_blocks())  # fmt: skip
        c["notes"] += len(ww)
        c["right"] += same
        c["extra"] += max(len(gg) - len(ww), 0)
        good = ww == gg and [n[2] for n in w] == [n[2] for n in g]
        if i is not None:
            c["bars"] += 1
            c["bars right"] += good
        if good:
            c["right marked"] += marked
        else:
            c["wrong"] += 1
            c["wrong marked"] += marked
            bar = got[j][2] if j is not None else None
            mistakes.append((w, g, bar and bar.doubts, bar and round(bar.confidence, 3)))
    return c, mistakes


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("pages", type=Path)
    parser.add_argument("--grades", default="vector,scan,photo,poor")
    parser.add_argument("--only", default="")
    parser.add_argument("--most", type=int, default=1000)
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--number", type=int, help="only this page of each engraver")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    table = collections.defaultdict(collections.Counter)
    for pdf in sorted(args.pages.glob("*.pdf")):
        engraver, number = pdf.stem.split("-")
        if (
            (args.only and engraver not in args.only.split(","))
            or int(number) >= args.most
            or args.number not in (None, int(number))
        ):
            continue
        want = json.loads(pdf.with_suffix(".json").read_text())
        for grade in args.grades.split(","):
            begun = time.process_time()
            got = []
            try:
                if grade == "vector":
                    data = pdf.read_bytes()
                    page, pages = 1, 1
                    while page <= pages:
                        found = read_page(data, page)
                        pages = found.pages
                        got += [([(n.pitch, round(n.beats, 4), n.tie, n.grace) for n in b.notes],
                                 b.doubtful, b) for s in found.staves for b in s.bars]  # fmt: skip
                        page += 1
                else:
                    seed = 1000 + int(number)
                    for data in grades.pictures(pdf, grade, seed):
                        got += got_bars(data)
            except ColdtakeError as refused:
                print(pdf.stem, grade, refused)
            counts, mistakes = compared(want, got)
            counts["cpu"] = time.process_time() - begun
            counts["pages"] = 1
            table[engraver, grade] += counts
            if args.show:
                print(pdf.stem, grade, dict(counts))
                for m in mistakes[:6]:
                    print("   ", m)
    rows = []
    for (engraver, grade), c in sorted(table.items()):
        rows.append({
            "engraver": engraver, "grade": grade, "pages": c["pages"], "notes": c["notes"],
            "notes right %": round(100 * c["right"] / max(c["notes"], 1), 2),
            "bars": c["bars"], "bars right %": round(100 * c["bars right"] / max(c["bars"], 1), 1),
            "wrong": c["wrong"],
            "wrong marked %": round(100 * c["wrong marked"] / max(c["wrong"], 1)),
            "right marked %": round(100 * c["right marked"] / max(c["bars right"], 1), 1),
            "s a page": round(c["cpu"] / c["pages"], 2),
        })  # fmt: skip
        print(json.dumps(rows[-1]), flush=True)
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main()
