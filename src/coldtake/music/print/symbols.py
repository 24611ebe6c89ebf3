"""The alphabet of printed music on one staff, shared by every reader and by the training.

A staff is read from left to right as a sequence of symbols. Positions are staff steps: 0 is the
bottom line, 1 the space above it, 8 the top line. Signs that belong to a note follow it (`dot`,
`triplet`, `chord`, `tie`); an accidental stands before it.
"""

POSITIONS = range(-11, 20)  # six ledger lines and a half below, five and a half above
LENGTHS = (1, 2, 4, 8, 16, 32)  # parts of a whole note
CLEFS = ("G", "G8", "F", "C3", "C4")  # G8: treble clef with an 8 below (tenor voice, guitar)
METRES = (
    "C", "cut", "2/4", "3/4", "4/4", "5/4", "6/4", "2/2", "3/2", "4/2", "3/8", "5/8", "6/8", "7/8",
    "9/8", "12/8",
)  # fmt: skip
KEYS = range(
    -7, 8
)  # flats below zero, sharps above; key.0 is printed only where a key is cancelled
ACCIDENTALS = {"s": 1, "f": -1, "n": 0, "x": 2, "ff": -2}
BARLINES = ("bar", "bar.double", "bar.final", "repeat.start", "repeat.end", "repeat.both")

ALPHABET: tuple[str, ...] = (
    *(f"clef.{c}" for c in CLEFS),
    *(f"key.{k}" for k in KEYS),
    *(f"time.{m}" for m in METRES),
    *BARLINES,
    "ending.1",
    "ending.2",
    *(f"accidental.{a}" for a in ACCIDENTALS),
    *(f"rest.{n}" for n in LENGTHS),
    "rests",  # a rest of several bars; its number follows in digits
    *(f"digit.{d}" for d in range(10)),
    "dot",
    "triplet",
    "chord",  # more than one head on the stem: the symbol before is only its top note
    "tie",
    *(f"grace.{p}" for p in POSITIONS),
    *(f"note.{n}.{p}" for n in LENGTHS for p in POSITIONS),
)
INDEX = {symbol: number for number, symbol in enumerate(ALPHABET, start=1)}  # 0: CTC's blank
SPACE_PX = 10  # distance of two staff lines in a straightened staff
HEIGHT_PX = 176  # of a straightened staff; its middle line lies in the middle
