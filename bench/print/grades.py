"""A page as a scanner or a phone gives it: grades `clean`, `scan`, `photo` and `poor`.

Another code than the training's: the whole page is bent, lit and squeezed by JPEG itself.
"""

import io
from pathlib import Path

import numpy as np
import pypdfium2
from PIL import Image
from scipy import ndimage


def pages_of(pdf: Path, dpi: int) -> list[np.ndarray]:
    document = pypdfium2.PdfDocument(pdf)
    return [
        np.asarray(document[i].render(scale=dpi / 72, grayscale=True).to_pil().convert("L"))
        for i in range(len(document))
    ]


def pictures(pdf: Path, grade: str, seed: int) -> list[bytes]:
    rng = np.random.default_rng(seed)
    if grade == "clean":
        return [_png(page) for page in pages_of(pdf, 300)]
    if grade == "scan":
        return [_scan(page, rng) for page in pages_of(pdf, 300)]
    return [_photo(page, rng, poor=grade == "poor") for page in pages_of(pdf, 220)]


def _png(gray: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(gray).save(out, "PNG")
    return out.getvalue()


def _jpeg(gray: np.ndarray, quality: int) -> bytes:
    out = io.BytesIO()
    Image.fromarray(gray).save(out, "JPEG", quality=quality)
    return out.getvalue()


def _scan(page: np.ndarray, rng: np.random.Generator) -> bytes:
    """A flatbed: half a degree askew, a little soft, some noise."""
    gray = ndimage.rotate(page.astype(np.float32), rng.uniform(-1, 1), reshape=False, order=1,
                          cval=255)  # fmt: skip
    gray = ndimage.gaussian_filter(gray, rng.uniform(0.4, 1.0))
    gray = 245 - (245 - rng.uniform(20, 60)) * (1 - gray / 255)
    gray += rng.normal(0, rng.uniform(2, 6), gray.shape)
    return _jpeg(np.clip(gray, 0, 255).astype(np.uint8), int(rng.integers(75, 92)))


def _photo(page: np.ndarray, rng: np.random.Generator, *, poor: bool) -> bytes:
    """A phone: perspective, curl, uneven light, blur, noise, compression."""
    hard = 1.0 if poor else 0.45
    height, width = page.shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    u, v = x / width - 0.5, y / height - 0.5
    tilt_x, tilt_y = rng.uniform(-0.12, 0.12, 2) * hard
    depth = 1 + tilt_x * u + tilt_y * v
    angle = np.radians(rng.uniform(-3, 3) * hard)
    uu = (u * np.cos(angle) - v * np.sin(angle)) / depth
    vv = (u * np.sin(angle) + v * np.cos(angle)) / depth
    vv = vv + hard * rng.uniform(0.003, 0.012) * np.sin(
        np.pi * (uu * rng.uniform(0.8, 2) + rng.random())
    )
    uu, vv = uu * 1.08, vv * 1.06  # a margin of table around
    gray = ndimage.map_coordinates(
        page.astype(np.float32), [(vv + 0.5) * height, (uu + 0.5) * width], order=1, cval=255
    )
    outside = (np.abs(uu) > 0.5) | (np.abs(vv) > 0.5)
    gray[outside] = rng.uniform(60, 140)
    zoom = rng.uniform(0.62, 0.8) if poor else rng.uniform(0.8, 1.0)
    gray = ndimage.zoom(ndimage.gaussian_filter(gray, 0.5 / zoom), zoom, order=1)
    gray = ndimage.gaussian_filter(gray, rng.uniform(0.5, 1.1) * (1.0 if poor else 0.6))
    if poor:
        gray = ndimage.uniform_filter1d(gray, int(rng.integers(1, 4)), axis=int(rng.integers(0, 2)))
    h, w = gray.shape
    yy, xx = np.mgrid[0:h, 0:w] / np.array([h, w]).reshape(2, 1, 1)
    light = 1 - hard * (
        rng.uniform(0, 0.45) * xx + rng.uniform(0, 0.35) * yy
        + 0.35 * np.exp(-(((xx - rng.random()) / 0.25) ** 2) - ((yy - rng.random()) / 0.2) ** 2)
    )  # fmt: skip
    gray = (35 + gray * (215 / 255)) * np.clip(light, 0.25, 1)
    gray += rng.normal(0, rng.uniform(3, 6) * (2 if poor else 1), gray.shape)
    return _jpeg(np.clip(gray, 0, 255).astype(np.uint8),
                 int(rng.integers(35, 60)) if poor else int(rng.integers(65, 88)))  # fmt: skip
