"""Staves to train on: a random line of music, engraved and cut out, 10 pixels a space."""

import io
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import resvg_py
from engravers import Mei, abc, run_abcm2ps
from PIL import Image

from music import Piece, piece, symbols_of

SPACE, HEIGHT, WIDEST = 10, 176, 1408
FONTS = ("Leipzig", "Bravura", "Gootville", "Petaluma", "Leland")
LEFT_OUT = "Leland"
_kit = None


def toolkit():
    global _kit
    if _kit is None:
        import verovio

        verovio.enableLog(verovio.LOG_OFF)
        _kit = verovio.toolkit()
    return _kit


def svg_of(p: Piece, rng: np.random.Generator, font: str, *, plain: bool = False) -> str:
    kit = toolkit()
    thin = rng.random
    kit.setOptions({
        "font": font, "breaks": "none", "adjustPageWidth": True, "adjustPageHeight": True,
        "pageWidth": 60000, "header": "none", "footer": "none", "scale": 100,
        "pageMarginTop": 200, "pageMarginBottom": 200, "pageMarginLeft": 60, "pageMarginRight": 60,
        "spacingLinear": float(rng.uniform(0.18, 0.42)),
        "spacingNonLinear": float(rng.uniform(0.52, 0.66)),
        "staffLineWidth": float(rng.uniform(0.11, 0.26)),
        "barLineWidth": float(rng.uniform(0.22, 0.45)),
        "stemWidth": float(rng.uniform(0.14, 0.32)),
        "beamMaxSlope": int(rng.choice([0, 5, 10, 10])),
        "tieMidpointThickness": float(rng.uniform(0.3, 0.7)),
        "slurMidpointThickness": float(rng.uniform(0.3, 0.8)),
        "multiRestStyle": str(rng.choice(["auto", "default", "block", "symbols"])),
        "mnumInterval": int(rng.choice([0, 0, 1])),
    })  # fmt: skip
    _ = thin
    kit.resetXmlIdSeed(1)
    if not kit.loadData(Mei(p, rng, plain=plain).text()):
        raise ValueError("not loaded")
    return kit.renderToSVG(1)


def staff_of(gray: np.ndarray) -> tuple[float, float] | None:
    """Middle line's row and the space [pixels] of the one staff of a clean picture."""
    ink = (255 - gray.astype(np.float32)).sum(1)
    top = ink.max()
    rows = np.flatnonzero(ink > 0.55 * top)
    if len(rows) < 5:
        return None
    lines = [g.mean() for g in np.split(rows, np.flatnonzero(np.diff(rows) > 2) + 1)]
    if len(lines) != 5:
        return None
    space = (lines[4] - lines[0]) / 4
    if np.abs(np.diff(lines) - space).max() > 0.15 * space:
        return None
    return lines[2], space


_FOLDERS = (Path(__file__).with_name("fonts"), Path("/usr/share/fonts/truetype"))
_TEXT = [
    (family, files)
    for family, start in (("DejaVu Serif", "DejaVuSerif"), ("Liberation Serif", "LiberationSerif"))
    for folder in _FOLDERS
    if (files := [str(f) for f in folder.rglob(f"{start}[-.]*.ttf")] if folder.exists() else [])
]


def raster(svg: str, *, zoom: float = 0.62) -> np.ndarray:
    family, files = random.choice(_TEXT)
    png = resvg_py.svg_to_bytes(
        svg_string=svg, background="white", zoom=zoom, skip_system_fonts=True, font_files=files,
        serif_family=family, sans_serif_family=family, font_family=family,
    )  # fmt: skip
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


def cut(gray: np.ndarray) -> np.ndarray | None:
    """The staff at 10 pixels a space, its middle line in the middle; None when it cannot be."""
    found = staff_of(gray)
    if found is None:
        return None
    middle, space = found
    scale = SPACE / space
    size = (round(gray.shape[1] * scale), round(gray.shape[0] * scale))
    if size[0] > WIDEST - 24 or size[0] < 120:
        return None
    small = np.asarray(
        Image.fromarray(gray).resize(
            size, Image.Resampling.BOX if scale < 1 else Image.Resampling.BICUBIC
        )
    )
    top = round((middle + 0.5) * scale - HEIGHT / 2)
    out = np.full((HEIGHT, small.shape[1]), 255, np.uint8)
    a, b = max(top, 0), min(top + HEIGHT, small.shape[0])
    out[a - top : b - top] = small[a:b]
    columns = np.flatnonzero((out[HEIGHT // 2 - 20 : HEIGHT // 2 + 21] < 128).mean(0) > 0.08)
    return out[:, max(columns[0] - 8, 0) : columns[-1] + 9]


def line(rng: np.random.Generator) -> Piece:
    count = int(rng.choice([1, 2, 3, 4, 5], p=[0.1, 0.25, 0.3, 0.2, 0.15]))
    p = piece(rng, count, long_rests=0.08, first_repeat=0.08)
    # later lines of a page have no metre
    return replace(p, show_metre=bool(rng.random() < 0.5))


def sample(seed: int, fonts=FONTS[:4], engraver: str = "verovio"):
    """(picture, symbols) or None."""
    rng = np.random.default_rng(seed)
    random.seed(seed)
    p = line(rng)
    try:
        if engraver == "verovio":
            gray = raster(svg_of(p, rng, str(rng.choice(fonts))))
        else:
            if any(b.rests for b in p.bars):
                return None
            if any(b.new_metre for b in p.bars):
                p = replace(p, show_metre=True)
            pages = run_abcm2ps(abc(p, rng))
            if len(pages) != 1:
                return None
            gray = raster(pages[0], zoom=1.7)
    except ValueError:
        return None
    picture = cut(gray)
    return None if picture is None else (picture, symbols_of(p))
