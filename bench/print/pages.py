"""Pages to measure on: engraved by LilyPond, verovio and abcm2ps, with what stands on them.

    python pages.py OUT PIECES [ENGRAVER …]

Writes OUT/ENGRAVER-N.pdf and OUT/ENGRAVER-N.json (bars: pitch, quarters, tie, grace). Needs the
engraver; for verovio's fonts CairoSVG, which makes the PDF.
"""

import json
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent / "training"))
from engravers import Mei, abc, lilypond

import music

BARS = 24
ENGRAVERS = ("lilypond", "abcm2ps", "Leland", "Leipzig", "Bravura", "Gootville", "Petaluma")


def piece_of(seed: int) -> music.Piece:
    return music.without_chords(music.piece(np.random.default_rng(seed), BARS))


def engraved(engraver: str, piece: music.Piece, out: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as folder:
        if engraver == "lilypond":
            Path(folder, "a.ly").write_text(lilypond(piece, rng))
            _run(["lilypond", "-s", "-o", str(out.with_suffix("")), f"{folder}/a.ly"])
        elif engraver == "abcm2ps":
            Path(folder, "a.abc").write_text(abc(piece, rng, width=18))
            _run(["abcm2ps", "-q", "-O", f"{folder}/a.ps", f"{folder}/a.abc"])
            _run(["ps2pdf", "-sPAPERSIZE=a4", f"{folder}/a.ps", str(out)])
        else:
            _verovio(engraver, piece, rng, out)


def _verovio(font: str, piece: music.Piece, rng: np.random.Generator, out: Path) -> None:
    import cairosvg
    import verovio

    kit = verovio.toolkit()
    kit.setOptions({
        "font": font, "pageWidth": 2100, "pageHeight": 2970, "scale": 100, "footer": "none",
        "header": "none", "unit": float(rng.uniform(7.5, 9.5)), "mmOutput": True,
        "pageMarginTop": 150, "pageMarginLeft": 120, "pageMarginRight": 120,
    })  # fmt: skip
    kit.loadData(Mei(piece, rng).text())
    cairosvg.svg2pdf(bytestring=kit.renderToSVG(1).encode(), write_to=str(out))


def _run(command: list[str]) -> None:
    subprocess.run(command, capture_output=True, check=False, timeout=120)


def _one_rest(bar: music.Bar) -> music.Bar:
    """A bar of rest for several: their number cannot be drawn by every version of the engraver."""
    whole = [music.Event(1, whole_bar=True)]
    return replace(bar, rests=0, events=whole) if bar.rests else bar


def main() -> None:
    out, count = Path(sys.argv[1]), int(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    for engraver in sys.argv[3:] or ENGRAVERS:
        for n in range(count):
            seed = 7_000_000 + n
            piece = piece_of(seed)
            if engraver == "abcm2ps":
                piece = replace(piece, bars=[_one_rest(bar) for bar in piece.bars])
            path = out / f"{engraver}-{n}.pdf"
            try:
                engraved(engraver, piece, path, seed)
                if not path.exists():
                    raise ValueError("no PDF was made")
            except (subprocess.SubprocessError, ValueError) as fault:
                print(path.name, fault)
                continue
            path.with_suffix(".json").write_text(json.dumps(music.bars_of(piece)))


if __name__ == "__main__":
    main()
