"""Lengths as note values: what one notehead can say, and how several say the rest."""

from fractions import Fraction

from coldtake.music.abc.tune import AbcBar, VoiceEvent


def bar_length(bar: AbcBar) -> Fraction:
    """What the fullest layer holds [quarter notes]."""
    return max(sum((sounding(e, bar) for e in layer), Fraction(0)) for layer in bar.layers)


def sounding(event: VoiceEvent, bar: AbcBar) -> Fraction:
    """Sounding length of an event [quarter notes]."""
    if event.grace:
        return Fraction(0)
    p, q = bar.tuplets.get(event.tuplet, (1, 1))
    return event.length * 4 * Fraction(q, p)


def note_value(length: Fraction) -> tuple[str, int] | None:
    """MEI dur and dots of a length in whole notes, or None when it is no single value."""
    for dots in range(4):
        value = length / (2 - Fraction(1, 2**dots))
        if value.numerator == 1 and value.denominator & (value.denominator - 1) == 0:
            if value.denominator <= 256:
                return str(value.denominator), dots
        elif value in (2, 4):
            return {2: "breve", 4: "long"}[int(value)], dots
    return None


def split(length: Fraction) -> list[tuple[str, int]]:
    """A length as values to be tied together, longest first; [] when it cannot be written."""
    found: list[tuple[str, int]] = []
    while length > 0 and len(found) < 32:
        whole = note_value(length)
        if whole is not None:
            return [*found, whole]
        power = Fraction(4)
        while power > length and power > Fraction(1, 256):
            power /= 2
        value = note_value(power)
        if power > length or value is None:
            return []
        found.append(value)
        length -= power
    return [] if length > 0 else found


def part_id(name: str, part: int) -> str:
    """Id of the further noteheads of a length that needs several."""
    return name if part == 0 else f"{name}.{part + 1}"
