"""A file to the ink on one page: PDF, PNG and JPEG, bounded.

Ink is 0 for paper and 1 for print, shape (rows, columns), float32; the light that fell on the paper
and its colour are taken out.
"""

import io
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coldtake.errors import PassageError
from coldtake.music.print.records import FILE_MOST_BYTES

Ink = NDArray[np.float32]
PIXELS_MOST = 40_000_000  # a phone's JPEG may have more: it is decoded at a part of its size
PAGES_MOST = 2_000
SIDE_PX = 3400  # the longer side is at most so long when read: A4 at 290 dots per inch
SIDE_LEAST_PX = 200
_DRAFT_MOST_PX = 12_500  # sides of a picture of which only a part is decoded
_LIGHT_PX = 16  # light is measured in squares of so many pixels
_KINDS = "Use a PDF, PNG or JPEG file."


def page_of(data: bytes, number: int = 1) -> tuple[Ink, int]:
    """The ink on a page (from 1), and how many pages the file has. Raises PassageError."""
    if len(data) > FILE_MOST_BYTES:
        raise PassageError(
            f"the file has {len(data) // 2**20} MB; up to {FILE_MOST_BYTES // 2**20} can be read.",
            remedy="Use only the pages that you need.",
        )
    if data[:1024].lstrip()[:5] == b"%PDF-":
        return _from_pdf(data, number)
    if data[:8] == b"\x89PNG\r\n\x1a\n" or data[:3] == b"\xff\xd8\xff":
        if number != 1:
            raise _no_page(number, 1)
        return ink_of(_picture(data)), 1
    raise PassageError("this is not a PDF, PNG or JPEG file.", remedy=_KINDS)


def _no_page(number: int, pages: int) -> PassageError:
    which = "page 1" if pages == 1 else f"a page from 1 to {pages}"
    return PassageError(f"there is no page {number}.", remedy=f"Choose {which}.")


def _from_pdf(data: bytes, number: int) -> tuple[Ink, int]:
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(data)
        pages = len(document)
        if 1 <= number <= min(pages, PAGES_MOST):
            return ink_of(_rendered(document[number - 1])), pages
    except pypdfium2.PdfiumError as fault:
        locked = "password" in str(fault).lower()
        what = "it is locked by a password." if locked else "this PDF is broken."
        remedy = "Save it without a password." if locked else "Save or scan it again."
        raise PassageError(what, remedy=remedy) from fault
    raise _no_page(number, min(pages, PAGES_MOST))


def _rendered(page: Any) -> NDArray[np.uint8]:
    width, height = page.get_size()
    if not (width > 0 and height > 0 and max(width, height) / min(width, height) < 20):
        raise PassageError(
            f"this page measures {width:.0f} by {height:.0f} points.",
            remedy="Save it on ordinary paper.",
        )
    scale = SIDE_PX / max(width, height)
    bitmap = page.render(scale=scale, grayscale=True)
    return np.asarray(bitmap.to_numpy(), np.uint8).reshape(bitmap.height, -1)[:, : bitmap.width]


def _picture(data: bytes) -> NDArray[np.uint8]:
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its own warning of large pictures: ours refuses
            picture: Any = Image.open(io.BytesIO(data), formats=("PNG", "JPEG"))
            if max(picture.size) > _DRAFT_MOST_PX:
                _check_size(*picture.size)
            picture.draft("L", (SIDE_PX, SIDE_PX))
            _check_size(*picture.size)
            picture = ImageOps.exif_transpose(picture)
            if "A" in picture.getbands() or "transparency" in picture.info:
                picture = picture.convert("RGBA")
                paper = Image.new("RGBA", picture.size, "white")
                picture = Image.alpha_composite(paper, picture)
            if picture.mode.startswith("I"):  # 16 bits a pixel
                return _fitted(Image.fromarray((np.asarray(picture) >> 8).astype(np.uint8)))
            return _fitted(picture.convert("L"))
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as fault:
        raise PassageError("this picture is broken.", remedy="Take or scan it again.") from fault
    except Image.DecompressionBombError as fault:  # beyond what Pillow even opens
        raise _too_large("more than 178 million pixels") from fault


def _too_large(size: str) -> PassageError:
    return PassageError(
        f"this picture has {size}; up to {PIXELS_MOST // 1_000_000} million pixels can be read.",
        remedy="Scan at 300 dpi, or cut out one page.",
    )


def _check_size(width: int, height: int) -> None:
    if width * height > PIXELS_MOST:
        raise _too_large(f"{width:,} by {height:,} pixels")
    if min(width, height) < SIDE_LEAST_PX // 4 or max(width, height) < SIDE_LEAST_PX:
        raise PassageError(
            f"this picture has only {width} by {height} pixels.",
            remedy="Scan at 300 dpi, or take the picture from nearer.",
        )


def _fitted(picture: Any) -> NDArray[np.uint8]:
    """Shrunk to the most that is read."""
    longest = max(picture.size)
    if longest > SIDE_PX:
        scale = SIDE_PX / longest
        size = tuple(max(1, round(side * scale)) for side in picture.size)
        picture = picture.resize(size, resample=4, reducing_gap=3.0)  # 4: box filter
    return np.asarray(picture, np.uint8)


def ink_of(gray: NDArray[np.uint8]) -> Ink:
    """Print without the light that fell on it.

    gray : 0 black … 255 white, shape (rows, columns)
    """
    from scipy import ndimage

    rows, columns = (-(-side // _LIGHT_PX) for side in gray.shape)
    padding = ((0, rows * _LIGHT_PX - gray.shape[0]), (0, columns * _LIGHT_PX - gray.shape[1]))
    squares = np.pad(gray, padding, mode="edge").reshape(rows, _LIGHT_PX, columns, _LIGHT_PX)
    brightest = np.percentile(squares.swapaxes(1, 2).reshape(rows, columns, -1), 85, axis=2)
    light = ndimage.maximum_filter(brightest.astype(np.float32), 5)
    light = ndimage.uniform_filter(light, 5)
    zoom = (gray.shape[0] / rows, gray.shape[1] / columns)
    whole = ndimage.zoom(light, zoom, order=1, grid_mode=True, mode="nearest")
    ink = np.clip(1 - gray / np.maximum(whole, 12.0), 0, 1).astype(np.float32)
    dark = float(np.quantile(ink[::3, ::3], 0.985))
    return np.asarray(np.clip(ink / max(dark, 0.12), 0, 1), np.float32)
