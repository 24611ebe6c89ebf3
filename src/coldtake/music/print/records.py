"""What was read from a printed page."""

from dataclasses import dataclass

FILE_MOST_BYTES = 64 * 1024 * 1024  # of a file to read


@dataclass(frozen=True, slots=True)
class PrintedNote:
    """A note or rest.

    pitch : written pitch as a MIDI number, None for a rest; step : diatonic number, octave * 7 +
    step above C; alter : semitones; beats : quarter notes, 0 for a grace note
    length, dots, triplet : as printed (length 4: a quarter note; 0: a rest of the whole bar)
    """

    pitch: int | None
    beats: float
    tie: bool = False
    grace: bool = False
    step: int = 0
    alter: int = 0
    length: int = 4
    dots: int = 0
    triplet: bool = False


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """One bar.

    confidence : estimate of the chance that every symbol is right, 0..1
    doubts : codes, why it should be looked at: "length" (does not add up), "uncertain", "chord"
        (more than one note on a stem), "tie", "metre" (none is known, or a new one was passed over
        that fits no bar of its staff), "clef" (none was seen), "rests" (perhaps several bars of
        rest), "signature" (another clef or key than the staff before)
    clef, key_fifths, time : in force in it; left, right : place on the page, 0..1 of its width
    barline : the sign at its end; ending : number over it, or 0; starts_repeat : a repeat begins
    """

    notes: tuple[PrintedNote, ...]
    confidence: float
    doubts: tuple[str, ...]
    clef: str
    key_fifths: int
    time: str
    left: float = 0.0
    right: float = 1.0
    barline: str = "bar"
    ending: int = 0
    starts_repeat: bool = False

    @property
    def doubtful(self) -> bool:
        """Whether it must be looked at before it counts."""
        return bool(self.doubts)


@dataclass(frozen=True, slots=True)
class PrintedStaff:
    """One printed staff, from its left end to its right end.

    system, number : which system of the page, which staff of it, both from 1
    top, bottom : of what belongs to it on the page, 0..1 of its height
    """

    system: int
    number: int
    clef: str
    key_fifths: int
    time: str
    bars: tuple[PrintedBar, ...]
    top: float = 0.0
    bottom: float = 1.0


@dataclass(frozen=True, slots=True)
class PrintedPage:
    """What stands on one page; pages : how many the file has."""

    staves: tuple[PrintedStaff, ...]
    page: int = 1
    pages: int = 1


Box = tuple[float, float, float, float]  # left, top, right, bottom, 0..1 of a page


@dataclass(frozen=True, slots=True)
class PageMeasure:
    """How a page lies and where its print is.

    pages : how many the file has
    turn : quarter turns against the clock until it is upright; angle_deg : of straightening then
    box : where the print is; systems : top and bottom of each, from the top down, 0..1 of its
        height; staff : height of a staff, 0..1 of the page's width, 0 without any
    """

    pages: int
    turn: int = 0
    angle_deg: float = 0.0
    box: Box = (0.0, 0.0, 1.0, 1.0)
    systems: tuple[tuple[float, float], ...] = ()
    staff: float = 0.0
