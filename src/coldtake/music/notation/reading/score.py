"""One MEI score taken apart once: its bars, their notes, the order of playing."""

import xml.etree.ElementTree as ET
from dataclasses import replace

from coldtake.errors import PassageError
from coldtake.music import mei, page_limits
from coldtake.music.mei import Element
from coldtake.music.notation.reading import as_played, bar_notes, octave_lines, page_text, unfold
from coldtake.music.notation.reading.bar_notes import BarContent
from coldtake.music.notation.reading.written_bars import BarReader, WrittenBar
from coldtake.music.passage import Passage


class Score:
    """An MEI text with notes in it; raises PassageError when there are none or it is broken."""

    def __init__(self, mei_text: str) -> None:
        self.mei = mei_text
        self.root = _parsed(mei_text)
        score = next(mei.all_of(self.root, "score"), None)
        if score is None:
            raise PassageError("there is no score in this notation.", remedy="Use one with notes.")
        self.score = score
        octave_lines.apply(score)
        reader = BarReader(score)
        self.bars: list[WrittenBar] = reader.bars
        self.part_names = tuple(reader.names[n] for n in sorted(reader.names))
        self.spans = bar_notes.tuplet_spans(bar.element for bar in self.bars)
        self.gestural = any(e.get("accid.ges") for e in score.iter())
        self.contents = self._contents()
        _require_notes(self.contents)
        page_text.find_jumps(self.bars)
        self.order = unfold.order(score, self.bars)

    def _contents(self) -> list[BarContent]:
        found: list[BarContent] = []
        for bar in self.bars:
            before = found[-1] if found else None
            found.append(bar_notes.content(bar, before, self.spans, self.gestural))
        return found

    def passage(self, first: int = 0, last: int | None = None, mei_text: str = "") -> Passage:
        """The passage of the bars [first, last) as played; `mei_text` replaces the notation."""
        order = self.order[first:last]
        notes, bars = as_played.play(
            self.bars,
            self.contents,
            order,
            page_text.ties(self.score, self.contents),
            self.order[:first],
        )
        signs = page_text.ornaments(self.score)
        notes = tuple(
            replace(n, ornament=signs[n.notation_ids[0]]) if n.notation_ids[0] in signs else n
            for n in notes
        )
        state = next(iter(self.bars[0].staves.values()), None)
        passage = Passage(
            title=page_text.title(self.root),
            notes=notes,
            bars=bars,
            tempi=page_text.tempi(self.score, self.bars, self.contents, order),
            mei=mei_text or self.mei,
            harmonies=page_text.harmonies(self.bars, self.contents, order),
            part_names=self.part_names,
            transposition=state.semitones if state else 0,
        )
        return page_limits.checked(passage)


def _parsed(text: str) -> Element:
    try:
        return mei.parse(text)
    except ET.ParseError as error:
        raise PassageError(f"the notation is broken: {error}.") from error


def _require_notes(contents: list[BarContent]) -> None:
    if any(c.notes for c in contents):
        return
    if any(c.unpitched for c in contents):
        raise PassageError(
            "this part has no pitches (percussion).",
            remedy="Coldtake listens for pitches: use a part with pitched notes.",
        )
    raise PassageError("there are no notes in it.", remedy="Use a passage with notes.")


def measure_ids(passage: Passage) -> tuple[str, ...]:
    """For each bar as played the id of the measure on the page; a repeated bar has one id twice."""
    score = Score(passage.mei)
    return tuple(mei.xml_id(score.bars[index].element) for index in score.order)
