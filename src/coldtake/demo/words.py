"""What the example's player says: intentions before playing, notes after it."""

SESSION_INTENTIONS: tuple[str, ...] = (
    "Slow enough that nothing has to be repaired.",
    "Hear the first note before I play it.",
    "Stop at the clock, not at the end of the page.",
    "Quiet shoulders, whatever comes.",
    "One thing at a time; the rest can wait.",
    "Play to the back of the room.",
    "Notice the breath before each start.",
    "",
)

SLOT_INTENTIONS: dict[str, tuple[str, ...]] = {
    "movement": (
        "Count the rest, do not guess it.",
        "Think of the bassoon under me.",
        "Lead the line to the top note, then let go.",
    ),
    "tune": (
        "Hear the bass note of every bar.",
        "Leave holes.",
        "Sing the next third before the chord comes.",
    ),
    "break": (
        "The air does not know that the fingers move.",
        "Right hand down already.",
    ),
    "d major": ("Long, warm, in tune with the drone.",),
    "triplets": ("Three even ones, the middle one too.",),
}

NOTES: tuple[str, ...] = (
    "Better when I did not look at the clock.",
    "Reed was stubborn, changed it in the break.",
    "The run sits when I think in fours.",
    "Tired, but the cold takes told me something.",
    "Second theme: I came in early again after the rest.",
    "Good day. Stopped while it was still good.",
    "The leap from E to B is the whole problem.",
    "Bar 10 of the tune is where I lose the chord.",
    "Recorded twice. Less clean than it felt.",
    "",
    "",
)

CUT_SHORT_NOTES: tuple[str, ...] = (
    "Had to leave early, the rest is for tomorrow.",
    "Lip was tired, so I stopped.",
    "A call came. Short is better than none.",
)
