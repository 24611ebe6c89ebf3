"""The example: an invented clarinettist, a wind quintet, a concert, one tune to improvise on.

Nobody here exists. The concert lies seven weeks ahead; three topics are current, one is kept up,
one was laid aside and three wait, one of them still without steps, as in a real pile.
"""

from datetime import date

from coldtake.demo.groundwork import d_major, dotted, over_the_break, reading, triplets
from coldtake.demo.laying import Laid
from coldtake.demo.repertoire import air, movement, tune


def laid_out(today: date) -> tuple[Laid, ...]:
    """Return the eight topics with their steps, dates counted from `today`."""
    return (
        movement(today),
        tune(today),
        over_the_break(),
        d_major(),
        triplets(),
        air(today),
        dotted(),
        reading(),
    )
