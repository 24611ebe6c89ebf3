"""Where the bars of a passage stand on its page."""

from coldtake.music import mei
from coldtake.music.notation.reading.score import Score
from coldtake.music.passage import Passage


def measure_ids(passage: Passage) -> tuple[str, ...]:
    """For each bar as played the id of the measure on the page; a repeated bar has one id twice."""
    score = Score(passage.mei)
    return tuple(mei.xml_id(score.bars[index].element) for index in score.order)
