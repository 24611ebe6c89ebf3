"""Pages of a topic: files of paper as they came, how each page is shown, stretches, pencil marks.

Places on a page are shares of its width and height (0: left, top; 1: right, bottom) after it was
turned and straightened, before it is cropped; so cropping moves no mark.
"""

from itertools import pairwise
from typing import Annotated

import msgspec
from msgspec import Meta

Share = Annotated[float, Meta(ge=0, le=1)]
Turn = Annotated[int, Meta(ge=0, le=3)]
Angle = Annotated[float, Meta(ge=-15, le=15)]
PageNumber = Annotated[int, Meta(ge=1, le=2000)]

PENCIL_UNITS = 10_000  # of a page's width and height, in which pencil marks are kept
STROKES_MOST, POINTS_MOST = 400, 2_000  # on a page; in a stroke

Coordinate = Annotated[int, Meta(ge=0, le=PENCIL_UNITS)]
Stroke = Annotated[tuple[Coordinate, ...], Meta(min_length=4, max_length=2 * POINTS_MOST)]
Strokes = Annotated[tuple[Stroke, ...], Meta(max_length=STROKES_MOST)]


class PageFile(msgspec.Struct, frozen=True, kw_only=True):
    """A file of one page or more, kept byte for byte as it came.

    name : of the file, as it came; sha256 : of its bytes; pages : how many it has
    deleted : the topic does not list it any more; steps that show it still do
    """

    id: str
    topic_id: str
    name: Annotated[str, Meta(min_length=1, max_length=200)]
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
    pages: PageNumber = 1
    deleted: bool = False


class PageBand(msgspec.Struct, frozen=True, kw_only=True):
    """A strip of a page: one system, or what was marked where no system was found.

    turn : quarter turns against the clock; angle_deg : what it was straightened by after that
    staff : height of a staff (five lines) as a share of the page's width, 0 where unknown
    """

    file_id: str
    number: PageNumber
    left: Share
    top: Share
    right: Share
    bottom: Share
    turn: Turn = 0
    angle_deg: Angle = 0.0
    staff: Share = 0.0


class PageView(msgspec.Struct, frozen=True, kw_only=True):
    """How a page is shown. left .. bottom : what is left of it when it is cropped.

    systems : top and bottom of each system found, from the top down
    """

    file_id: str
    number: PageNumber
    turn: Turn = 0
    angle_deg: Angle = 0.0
    left: Share = 0.0
    top: Share = 0.0
    right: Share = 1.0
    bottom: Share = 1.0
    systems: tuple[tuple[Share, Share], ...] = ()
    staff: Share = 0.0

    @property
    def key(self) -> str:
        """The page's own name: its file and number."""
        return page_key(self.file_id, self.number)

    def lies_like(self, band: PageBand) -> bool:
        """Whether a band was cut from the page as it is turned now."""
        return (self.turn, self.angle_deg) == (band.turn, band.angle_deg)

    def band(self, top: float, bottom: float) -> PageBand:
        """Cut a strip from the page as it is shown."""
        return PageBand(
            file_id=self.file_id,
            number=self.number,
            turn=self.turn,
            angle_deg=self.angle_deg,
            left=self.left,
            top=top,
            right=self.right,
            bottom=bottom,
            staff=self.staff,
        )

    def bands(self, top: float, bottom: float) -> tuple[PageBand, ...]:
        """Cut what lies between two heights into its systems; whole where none was found there.

        A system belongs to it whose middle does; the strips reach exactly from `top` to `bottom`.
        """
        inside = [s for s in self.systems if top <= sum(s) / 2 <= bottom]
        edges = [
            top,
            *((a[1] + b[0]) / 2 for a, b in pairwise(inside)),
            bottom,
        ]
        return tuple(self.band(a, b) for a, b in pairwise(edges))


def page_key(file_id: str, number: int) -> str:
    """Name a page by its file and number."""
    return f"{file_id}/{number}"
