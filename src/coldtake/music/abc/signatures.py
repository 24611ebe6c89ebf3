"""Clefs, key signatures and metres of a tune in MEI."""

from coldtake.music import mei
from coldtake.music.abc.tune import AbcKey, Clef, Metre
from coldtake.music.mei import Element

ACCID = {0: "n", 1: "s", 2: "x", -1: "f", -2: "ff"}


def clef(value: Clef) -> Element:
    """MEI of a clef."""
    made = mei.make("clef", shape=value.shape, line=value.line)
    if value.octave:
        made.set("dis", "8")
        made.set("dis.place", "below" if value.octave < 0 else "above")
    return made


def key_signature(key: AbcKey) -> Element:
    """MEI of a key signature; an unusual one lists its accidentals."""
    if key.fifths is not None:
        sign = "s" if key.fifths > 0 else "f"
        return mei.make("keySig", sig=f"{abs(key.fifths)}{sign}" if key.fifths else "0")
    made = mei.make("keySig", sig="mixed")
    for step, alter in key.alters:
        mei.add(made, "keyAccid", pname=step, accid=ACCID[alter])
    return made


def metre_signature(metre: Metre) -> Element:
    """MEI of a time signature."""
    made = mei.make("meterSig", count="+".join(str(b) for b in metre.beats), unit=metre.unit)
    if metre.symbol:
        made.set("sym", metre.symbol)
    return made


def change(value: AbcKey | Clef | Metre) -> Element:
    """MEI of a signature that changes on the way; a new key cancels the old one."""
    if isinstance(value, Clef):
        return clef(value)
    if isinstance(value, Metre):
        return metre_signature(value)
    made = key_signature(value)
    made.set("cancelaccid", "before")
    return made
