"""The bars of an MEI score in document order, each with the state in force at its start.

State (clef aside): metre, key signature, transposition and divisions of every staff. A definition
inside the score changes it from there on, in the order of the page, whatever repeats do later.
"""

from dataclasses import dataclass, field, replace
from fractions import Fraction

from coldtake.music import mei
from coldtake.music.mei import Element


@dataclass(frozen=True, slots=True)
class StaffState:
    """What is in force on one staff. `semitones`: sounding minus written pitch."""

    metre: tuple[int, int] = (4, 4)
    fifths: int = 0
    semitones: int = 0
    divisions: int = 0
    default_dur: str = ""

    @property
    def bar_beats(self) -> Fraction:
        """Length of a full bar in quarter notes."""
        return Fraction(4 * self.metre[0], self.metre[1])


@dataclass(slots=True)
class WrittenBar:
    """One measure of the page. `ending`: numbers of the passes that play it, () when all do."""

    element: Element
    label: str
    staves: dict[int, StaffState]
    ending: tuple[int, ...] = ()
    sections: tuple[str, ...] = ()
    marks: set[str] = field(default_factory=set)

    @property
    def opens_repeat(self) -> bool:
        """A repeat starts at the left barline."""
        return self.element.get("left") in ("rptstart", "rptboth") or "opens" in self.marks

    @property
    def closes_repeat(self) -> bool:
        """A repeat ends at the right barline."""
        return self.element.get("right") in ("rptend", "rptboth") or "closes" in self.marks


class BarReader:
    """Walks a score once; `bars` are its measures, `names` the staff names by number."""

    def __init__(self, score: Element) -> None:
        self.bars: list[WrittenBar] = []
        self.names: dict[int, str] = {}
        self._staves: dict[int, StaffState] = {}
        self._default = StaffState()
        self._walk(score, (), ())
        self._spread_barlines()

    def _walk(self, parent: Element, ending: tuple[int, ...], sections: tuple[str, ...]) -> None:
        for element in parent:
            what = mei.kind(element)
            if what in ("scoreDef", "staffDef"):
                self._define(element)
            elif what == "measure":
                self._measure(element, ending, sections)
            elif what == "ending":
                inside = (*sections, mei.xml_id(element))
                self._walk(element, _passes(element.get("n", "")), inside)
            elif what in ("section", "score", "mdiv", "lem", "rdg", "app"):
                self._walk(element, ending, (*sections, mei.xml_id(element)))

    def _measure(
        self, element: Element, ending: tuple[int, ...], sections: tuple[str, ...]
    ) -> None:
        label = element.get("n") or str(len(self.bars) + 1)
        bar = WrittenBar(element, label, dict(self._staves), ending, sections)
        self.bars.append(bar)
        for definition in mei.all_of(element, "staffDef"):
            self._define(definition)
        for name in ("meterSig", "keySig"):
            for sign in mei.all_of(element, name):
                self._sign_inside(element, sign)

    def _sign_inside(self, measure: Element, sign: Element) -> None:
        """A signature written inside a layer holds for its staff from the next bar on."""
        for staff in measure:
            if mei.kind(staff) == "staff" and any(e is sign for e in staff.iter()):
                n = mei.whole(staff.get("n"), 1)
                self._staves[n] = _changed(self._staves.get(n, self._default), sign)

    def _define(self, element: Element) -> None:
        """Take over a scoreDef or staffDef, wherever it stands."""
        if mei.kind(element) == "scoreDef":
            own = _changed(self._default, element)
            for sign in element:
                if mei.kind(sign) in ("meterSig", "keySig", "meterSigGrp"):
                    own = _changed(own, sign)
            self._default = own
            for n, state in self._staves.items():
                self._staves[n] = _all_signs(state, element)
            for group in mei.all_of(element, "staffGrp"):
                self._name_group(group)
            for staff in mei.all_of(element, "staffDef"):
                self._define(staff)
            return
        n = mei.whole(element.get("n"), 1)
        self._staves[n] = _all_signs(self._staves.get(n, self._default), element)
        self.names[n] = mei.text_of(mei.child(element, "label")) or self.names.get(n, "")

    def _name_group(self, group: Element) -> None:
        name = mei.text_of(mei.child(group, "label")) or group.get("label", "")
        for staff in mei.all_of(group, "staffDef"):
            self.names[mei.whole(staff.get("n"), 1)] = name

    def _spread_barlines(self) -> None:
        """`right="rptstart"` and `left="rptend"` belong to the neighbouring bar."""
        for before, after in zip(self.bars, self.bars[1:], strict=False):
            if before.element.get("right") in ("rptstart", "rptboth"):
                after.marks.add("opens")
            if after.element.get("left") in ("rptend", "rptboth"):
                before.marks.add("closes")


def _passes(text: str) -> tuple[int, ...]:
    """Numbers of an ending such as "1", "1, 2", "1-3"; (1,) when it has none."""
    found: list[int] = []
    for part in text.replace(".", " ").replace(",", " ").split():
        low, _, high = part.partition("-")
        if low.isdigit():
            found += range(int(low), int(high if high.isdigit() else low) + 1)
    return tuple(found[:64]) or (1,)


def _all_signs(state: StaffState, definition: Element) -> StaffState:
    state = _changed(state, definition)
    for sign in definition:
        if mei.kind(sign) in ("meterSig", "keySig", "meterSigGrp"):
            state = _changed(state, sign)
    return state


def _changed(state: StaffState, element: Element) -> StaffState:
    """The state after one definition or signature."""
    group = mei.child(element, "meterSig") if mei.kind(element) == "meterSigGrp" else None
    get = (group if group is not None else element).get
    count, unit = get("meter.count") or get("count"), get("meter.unit") or get("unit")
    symbol = get("meter.sym") or get("sym")
    if count and unit:
        state = replace(state, metre=(_count(count), mei.whole(unit, 4) or 4))
    elif symbol in ("common", "cut"):
        state = replace(state, metre=(4, 4) if symbol == "common" else (2, 2))
    sig = get("keysig") or get("key.sig") or get("sig")
    if sig is not None:
        state = replace(state, fifths=_fifths(sig, state.fifths))
    if get("trans.semi") is not None:
        state = replace(state, semitones=mei.whole(get("trans.semi")))
    if get("ppq") is not None:
        state = replace(state, divisions=mei.whole(get("ppq")))
    return replace(state, default_dur=get("dur.default") or state.default_dur)


def _count(text: str) -> int:
    """Beats of a bar; "3+2" adds up."""
    return sum(mei.whole(part.strip(), 0) for part in text.split("+")) or 4


def _fifths(text: str, before: int) -> int:
    """Count of a signature: "2f" is -2, "3s" is 3, "0" is 0; "mixed" leaves the key as it was."""
    if text == "0":
        return 0
    if text[:-1].isdigit() and text[-1] in "sf":
        return int(text[:-1]) * (1 if text[-1] == "s" else -1)
    return before
