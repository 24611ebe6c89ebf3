"""The same music for three engravers: MEI for verovio, ABC for abcm2ps, LilyPond's language."""

import subprocess
import tempfile
from fractions import Fraction
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np

from music import BOTTOM, METRES, STEPS, Bar, Event, Piece

WORDS = (
    "Allegro", "Andante", "dolce", "rit.", "a tempo", "cresc.", "Fine", "D.C. al Fine", "Moderato",
    "espr.", "poco", "legato", "pizz.", "arco", "solo", "Lento", "cantabile", "con moto", "simile",
)  # fmt: skip
SYLLABLES = ("la", "ro", "sing", "the", "morn", "ing", "lo", "ver", "hey", "down", "green", "O")
DYNAMICS = ("p", "mf", "f", "pp", "ff", "mp", "sf", "fp")
CHORD_NAMES = ("C", "G7", "Am", "Dm7", "F", "B♭", "E7", "Em", "A", "D")
_BEAT = {
    "6/8": Fraction(3, 2),
    "9/8": Fraction(3, 2),
    "12/8": Fraction(3, 2),
    "3/8": Fraction(3, 2),
}


def beams(bar: Bar, rng: np.random.Generator) -> list[list[Event]]:
    """Groups of events; those of more than one note are beamed."""
    beat = _BEAT.get(bar.metre, Fraction(1))
    if bar.metre in ("4/4", "C", "cut") and rng.random() < 0.4:
        beat = Fraction(2)
    never = rng.random() < 0.05
    groups: list[list[Event]] = []
    at, current, cell = Fraction(0), [], -1
    for e in bar.events:
        short = e.length >= 8 and e.position is not None and not e.grace
        here = int(at / beat)
        joins = short and not never and current and here == cell and not e.clef
        if joins and (e.triplet > 0) == (current[-1].triplet > 0) and e.triplet != 1:
            current.append(e)
        else:
            if current:
                groups.append(current)
            current = []
            if short:
                current = [e]
            else:
                groups.append([e])
        cell = here
        if not e.grace:
            at += e.beats
    if current:
        groups.append(current)
    return groups


_ACCID = {"s": "s", "f": "f", "n": "n", "x": "x", "ff": "ff"}
_CLEF = {
    "G": ("G", 2, ""), "G8": ("G", 2, ' clef.dis="8" clef.dis.place="below"'), "F": ("F", 4, ""),
    "C3": ("C", 3, ""), "C4": ("C", 4, ""),
}  # fmt: skip


class Mei:
    """One piece as MEI."""

    def __init__(self, piece: Piece, rng: np.random.Generator, *, plain: bool = False) -> None:
        self.p, self.rng, self.plain = piece, rng, plain
        self.count = 0
        self.controls: list[str] = []
        r = rng.random
        self.verses = 0 if plain or r() > 0.1 else 1
        self.harm = not plain and r() < 0.12
        self.fing = not plain and r() < 0.1
        self.busy = 0.0 if plain else float(rng.choice([0.0, 0.05, 0.15]))

    def text(self) -> str:
        p = self.p
        shape, line, octave = _CLEF[p.clef]
        sig = _keysig(p.fifths)
        meter = _meter(p.metre)
        if not p.show_metre:
            meter = meter.replace("<meterSig", '<meterSig visible="false"').replace(
                'meter.visible=""', ""
            )
        body = self._body()
        return (
            '<?xml version="1.0" encoding="UTF-8"?><mei xmlns="http://www.music-encoding.org/ns/mei"'
            ' meiversion="5.0"><music><body><mdiv><score><scoreDef><staffGrp><staffDef n="1"'
            f' lines="5"><clef shape="{shape}" line="{line}"{octave.replace("clef.", "")}/>'
            f'<keySig sig="{sig}"/>{meter}</staffDef></staffGrp></scoreDef>'
            f"<section>{body}</section></score></mdiv></body></music></mei>"
        )

    def _body(self) -> str:
        out = []
        for bar, following in zip(self.p.bars, [*self.p.bars[1:], None], strict=True):
            text = ""
            if bar.new_key:
                text += f'<scoreDef keysig="{_keysig(bar.fifths)}" keysig.cancelaccid="before"/>'
            if bar.new_metre:
                text += f"<scoreDef>{_meter(bar.metre)}</scoreDef>"
            measure = self._measure(bar, following)
            if bar.ending:
                measure = f'<ending n="{bar.ending}" label="{bar.ending}.">{measure}</ending>'
            out.append(text + measure)
        return "".join(out)

    def _measure(self, bar: Bar, following: Bar | None) -> str:
        self.controls = []
        right = {"bar": "single", "bar.double": "dbl", "bar.final": "end", "repeat.end": "rptend"}
        attributes = f' right="{right[bar.end]}"'
        if bar.start:
            attributes += ' left="rptstart"'
        if bar.rests:
            layer = f'<multiRest num="{bar.rests}"/>'
        elif bar.events[0].whole_bar:
            layer = "<mRest/>"
        else:
            layer = self._layer(bar, following)
        self._spanners(bar)
        controls = "".join(self.controls)
        return (
            f'<measure n="1"{attributes}><staff n="1"><layer n="1">{layer}</layer></staff>'
            f"{controls}</measure>"
        )

    def _layer(self, bar: Bar, following: Bar | None) -> str:
        out = [self._group(g) for g in beams(bar, self.rng)]
        if following is not None and following.events and following.events[0].clef:
            shape, line, _ = _CLEF[following.events[0].clef]  # printed before the bar line
            out.append(f'<clef shape="{shape}" line="{line}"/>')
        return "".join(out)

    def _group(self, group: list[Event]) -> str:
        inner = "".join(self._event(e) for e in group)
        if len(group) > 1:
            inner = f"<beam>{inner}</beam>"
        return inner

    def _event(self, e: Event) -> str:
        self.count += 1
        name = f"n{self.count}"
        e.artic = e.artic if not self.plain else ""
        head, tail = "", ""
        if e.clef and not e.clef_before_bar:
            shape, line, _ = _CLEF[e.clef]
            head = f'<clef shape="{shape}" line="{line}"/>'
        if e.triplet == 1:
            look = ' bracket.visible="true"' if self.rng.random() < 0.3 else ""
            head += f'<tuplet num="3" numbase="2" num.visible="true"{look}>'
        if e.triplet == 3:
            tail = "</tuplet>"
        dots = f' dots="{e.dots}"' if e.dots else ""
        if e.position is None:
            return f'{head}<rest xml:id="{name}" dur="{e.length}"{dots}/>{tail}'
        grace = f' grace="{self.rng.choice(["acc", "unacc"])}"' if e.grace else ""
        if self.before_grace and not e.grace and self.rng.random() < 0.5:
            self.controls.append(f'<slur startid="#{self.before_grace}" endid="#{name}"/>')
        self.before_grace = name if e.grace else ""
        artic = f' artic="{e.artic}"' if e.artic else ""
        pitches = [self._pitch(e)]
        accid = f' accid="{_ACCID[e.accidental]}"' if e.accidental else ""
        tie = self._tie(e)
        verse = ""
        if self.verses and not e.grace:
            verse = f'<verse n="1"><syl>{self.rng.choice(SYLLABLES)}</syl></verse>'
        stem = ""
        if e.under:
            low = self._pitch(e, -e.under)
            inner = f'<note xml:id="{name}"{pitches[0]}{accid}/><note{low}/>'
            text = f'<chord xml:id="c{name}" dur="{e.length}"{dots}{artic}>{inner}{verse}</chord>'
        else:
            text = (
                f'<note xml:id="{name}" dur="{e.length}"{dots}{pitches[0]}{accid}{tie}{grace}'
                f"{artic}{stem}>{verse}</note>"
            )
        self.last = name
        if not e.grace:
            self._adorn(name)
        return head + text + tail

    was_tied = False
    before_grace = ""

    def _tie(self, e: Event) -> str:
        kind = {(0, 1): "i", (1, 1): "m", (1, 0): "t"}.get((int(self.was_tied), int(e.tie)), "")
        self.was_tied = e.tie
        return f' tie="{kind}"' if kind else ""

    def _pitch(self, e: Event, move: int = 0) -> str:
        clef = self.clef_at(e)
        diatonic = BOTTOM[clef] + e.position + move
        octave = diatonic // 7
        return f' pname="{STEPS[diatonic % 7].lower()}" oct="{octave}"'

    def clef_at(self, e: Event) -> str:
        if not hasattr(self, "_clefs"):
            self._clefs, clef = {}, self.p.clef
            for bar in self.p.bars:
                for x in bar.events:
                    clef = x.clef or clef
                    self._clefs[id(x)] = clef
        return self._clefs[id(e)]

    def _adorn(self, name: str) -> None:
        r = self.rng
        if self.fing and r.random() < 0.5:
            self.controls.append(f'<fing startid="#{name}">{r.integers(1, 6)}</fing>')
        if self.harm and r.random() < 0.2:
            self.controls.append(f'<harm startid="#{name}">{r.choice(CHORD_NAMES)}</harm>')
        if r.random() < self.busy:
            kind = int(r.integers(0, 6))
            place = r.choice(["above", "below"])
            word = escape(str(r.choice(WORDS)))
            self.controls.append([
                f'<dynam startid="#{name}" place="below">{r.choice(DYNAMICS)}</dynam>',
                f'<dir startid="#{name}" place="{place}">{word}</dir>',
                f'<fermata startid="#{name}" place="above"/>',
                f'<trill startid="#{name}"/>',
                f'<tempo startid="#{name}">{word}</tempo>',
                f'<dynam startid="#{name}" place="{place}">{r.choice(DYNAMICS)}</dynam>',
            ][kind])  # fmt: skip

    def _spanners(self, bar: Bar) -> None:
        if self.plain or not bar.events or bar.rests:
            return
        first = self.count - len(bar.events) + 1
        names = [
            f"n{first + i}"
            for i, e in enumerate(bar.events)
            if e.position is not None and not e.grace
        ]
        if len(names) > 2:
            a, b = sorted(self.rng.choice(len(names), 2, replace=False))
            if self.rng.random() < 0.3:
                self.controls.append(f'<slur startid="#{names[a]}" endid="#{names[b]}"/>')
            if self.rng.random() < 0.4 * self.busy:
                form = self.rng.choice(["cres", "dim"])
                self.controls.append(
                    f'<hairpin form="{form}" startid="#{names[a]}" endid="#{names[b]}"/>'
                )


def _keysig(fifths: int) -> str:
    return f"{abs(fifths)}{'s' if fifths > 0 else 'f'}" if fifths else "0"


def _meter(metre: str) -> str:
    if metre == "C":
        return '<meterSig count="4" unit="4" sym="common"/>'
    if metre == "cut":
        return '<meterSig count="2" unit="2" sym="cut"/>'
    count, unit = metre.split("/")
    return f'<meterSig count="{count}" unit="{unit}"/>'


_ABC_ACC = {"s": "^", "f": "_", "n": "=", "x": "^^", "ff": "__", "": ""}
_ABC_CLEF = {
    "G": "treble", "G8": "treble-8", "F": "bass", "C3": "alto", "C4": "tenor"
}  # fmt: skip
_MAJOR = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_ABC_ARTIC = {"stacc": ".", "acc": "!accent!", "ten": "!tenuto!", "marc": "!marcato!", "": ""}


def _abc_pitch(diatonic: int) -> str:
    octave, step = divmod(diatonic, 7)
    if octave >= 5:
        return STEPS[step].lower() + "'" * (octave - 5)
    return STEPS[step] + "," * (4 - octave)


def abc(piece: Piece, rng: np.random.Generator, *, plain: bool = False, width: float = 0) -> str:
    """One piece as ABC 2.1; all on one line when width [cm] is given."""
    p, clef = piece, piece.clef
    key = f"{_MAJOR[p.fifths + 7]} clef={_ABC_CLEF[clef]} octave={0}"
    metre = {"C": "C", "cut": "C|"}.get(p.metre, p.metre)
    head = ["X:1", "%%leftmargin 0.5cm", "%%rightmargin 0.5cm", "%%topspace 0", "%%stretchlast 0",
            "%%staffwidth 60cm" if not width else f"%%staffwidth {width:g}cm"]  # fmt: skip
    if not p.show_metre:
        head += [f"M:{metre}", "L:1/4", "%%writefields M 0"]
    else:
        head += [f"M:{metre}", "L:1/4"]
    lines, busy = [], 0 if plain else float(rng.choice([0, 0.05, 0.15]))
    text, up = "", 7 * (p.clef == "G8")  # there C is the C of the plain treble clef
    for n, bar in enumerate(p.bars):
        if bar.new_key:
            text += f"[K:{_MAJOR[bar.fifths + 7]}]"
        if bar.new_metre:
            m = {"C": "C", "cut": "C|"}.get(bar.metre, bar.metre)
            text += f"[M:{m}]"
        if bar.ending:
            text += f"[{bar.ending} "
        if bar.rests:
            text += f"Z{bar.rests}"
        elif bar.events[0].whole_bar:
            text += "Z"
        slur_end = -1
        for group in [] if bar.events and bar.events[0].whole_bar else beams(bar, rng):
            for e in group:
                if e.clef:
                    clef = e.clef
                    text += f"[K:clef={_ABC_CLEF[clef]}]"
                if e.triplet == 1:
                    text += _abc_triplet(bar.events, e)
                if e.position is None:
                    text += "z" + _abc_length(e)
                    continue
                name = _abc_pitch(BOTTOM[clef] + e.position + up)
                name = _ABC_ACC[e.accidental] + name
                if e.grace:
                    text += "{" + name + "}"
                    continue
                if busy and rng.random() < busy:
                    kind = int(rng.integers(0, 4))
                    text += [f"!{rng.choice(DYNAMICS[:6])}!", f'"^{rng.choice(WORDS)}"',
                             "!fermata!", f'"{rng.choice(CHORD_NAMES[:4])}"'][kind]  # fmt: skip
                if not plain:
                    text += _ABC_ARTIC[e.artic]
                slur = not plain and slur_end < 0 and rng.random() < 0.04 and not e.triplet
                if slur:
                    slur_end = int(rng.integers(1, 4))
                    text += "("
                if e.under:
                    name = f"[{name}{_abc_pitch(BOTTOM[clef] + e.position - e.under + up)}]"
                text += name + _abc_length(e)
                if slur_end == 0:
                    text += ")"
                slur_end -= 1
                text += "-" if e.tie else ""
            text += " "
        if slur_end >= 0:
            text = _unclosed(text)
        after = p.bars[n + 1] if n + 1 < len(p.bars) else None
        start = after is not None and after.start
        sign = {"bar": "|", "bar.double": "||", "bar.final": "|]", "repeat.end": ":|"}[bar.end]
        if start:
            sign = "::" if bar.end == "repeat.end" else "|:"
        text += sign
        if width and n % 4 == 3 and after is not None:
            lines.append(text)
            text = ""
    if p.bars[0].start:
        text = ("|:" + text) if not lines else text
        if lines:
            lines[0] = "|:" + lines[0]
    lines.append(text)
    return "\n".join([*head, f"K:{key.replace(' octave=0', '')}", *lines, ""])


def _unclosed(text: str) -> str:
    at = text.rfind("(")
    while at >= 0 and text[at + 1 : at + 2] == "3":
        at = text.rfind("(", 0, at)
    return text[:at] + text[at + 1 :] if at >= 0 else text


def _abc_triplet(events: list[Event], e: Event) -> str:
    count = 0
    for x in events[next(i for i, y in enumerate(events) if y is e) :]:
        count += not x.grace
        if x.triplet == 3:
            break
    return f"(3:2:{count}"


def _abc_length(e: Event) -> str:
    beats = Fraction(4, e.length)
    beats += beats / 2 if e.dots == 1 else beats * 3 / 4 if e.dots == 2 else 0
    if beats == 1:
        return ""
    return f"{beats.numerator if beats.numerator > 1 or beats.denominator == 1 else ''}" + (
        f"/{beats.denominator}" if beats.denominator > 1 else ""
    )


_LY_ACC = {-2: "eses", -1: "es", 0: "", 1: "is", 2: "isis"}
_LY_CLEF = {"G": "treble", "G8": '"treble_8"', "F": "bass", "C3": "alto", "C4": "tenor"}
_LY_KEY = (
    "ces", "ges", "des", "as", "es", "bes", "f", "c", "g", "d", "a", "e", "b", "fis", "cis"
)  # fmt: skip
_LY_ARTIC = {"stacc": "-.", "acc": "->", "ten": "--", "marc": "-^", "": ""}


def lilypond(piece: Piece, rng: np.random.Generator, *, plain: bool = False) -> str:
    """One piece in LilyPond's language."""
    p, clef, out = piece, piece.clef, []
    out.append(
        f"\\clef {_LY_CLEF[clef]} \\key {_LY_KEY[p.fifths + 7]} \\major {_ly_metre(p.metre)}"
    )
    for n, bar in enumerate(p.bars):
        line = ""
        if bar.new_key:
            line += f"\\key {_LY_KEY[bar.fifths + 7]} \\major "
        if bar.new_metre:
            line += _ly_metre(bar.metre) + " "
        whole = METRES[bar.metre]
        if bar.rests or bar.events[0].whole_bar:
            count = bar.rests or 1
            line += f"R4*{whole.numerator}/{whole.denominator}*{count} "
        elif bar.beats != whole:
            line += f"\\partial 4*{bar.beats.numerator}/{bar.beats.denominator} "
        for e in bar.events if not bar.rests and not bar.events[0].whole_bar else []:
            if e.clef:
                clef = e.clef
                line += f"\\clef {_LY_CLEF[clef]} "
            if e.triplet == 1:
                line += "\\tuplet 3/2 { "
            if e.position is None:
                line += f"r{e.length}{'.' * e.dots} "
            else:
                diatonic = BOTTOM[clef] + e.position
                name = _ly_pitch(diatonic, e.alter)
                if e.accidental and rng.random() < 0:
                    name += "!"
                if e.grace:
                    line += f"\\acciaccatura {name}8 "
                    continue
                artic = "" if plain else _LY_ARTIC[e.artic]
                extra = ""
                if not plain and rng.random() < 0.05:
                    extra = f"\\{rng.choice(('p', 'mf', 'f', 'pp', 'ff'))}"
                line += f"{name}{e.length}{'.' * e.dots}{'~' if e.tie else ''}{artic}{extra} "
            if e.triplet == 3:
                line += "} "
        after = p.bars[n + 1] if n + 1 < len(p.bars) else None
        sign = {"bar": "", "bar.double": "||", "bar.final": "|.", "repeat.end": ":|."}[bar.end]
        if after is not None and after.start:
            sign = ":|.|:" if bar.end == "repeat.end" else ".|:"
        if sign:
            line += f'\\bar "{sign}" '
        out.append(line + "|")
    body = "\n".join(out)
    return (
        '\\version "2.24.0"\n#(set-global-staff-size 20)\n\\paper { tagline = ##f '
        'indent = 0 ragged-last = ##t }\n\\header { title = "" }\n'
        f"\\score {{ \\new Staff {{ \\compressMMRests {{ {body} }} }} \\layout {{ }} }}\n"
    )


def _ly_metre(metre: str) -> str:
    if metre == "C":
        return "\\defaultTimeSignature \\time 4/4"
    if metre == "cut":
        return "\\defaultTimeSignature \\time 2/2"
    return f"\\numericTimeSignature \\time {metre}"


def _ly_pitch(diatonic: int, alter: int) -> str:
    octave, step = divmod(diatonic, 7)
    name = STEPS[step].lower() + _LY_ACC[alter]
    return name + ("'" * (octave - 3) if octave >= 3 else "," * (3 - octave))


def run_abcm2ps(text: str) -> list[str]:
    """SVG pages."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder, "a.abc")
        source.write_text(text)
        subprocess.run(
            ["abcm2ps", "-q", "-v", "-O", str(Path(folder, "o.svg")), str(source)],
            capture_output=True, check=False,
        )  # fmt: skip
        return [f.read_text() for f in sorted(Path(folder).glob("o*.svg"))]
