"""A straightened staff to symbols with their confidence, by a network of our own.

After J. Calvo-Zaragoza and D. Rizo, "End-to-End Neural Optical Music Recognition of Monophonic
Scores", Applied Sciences 8 (2018) 606: convolution, a recurrence in both directions, connectionist
temporal classification. Trained on staves that we engraved ourselves (`bench/print/training`).
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from coldtake.music.print.paper import Ink
from coldtake.music.print.symbols import ALPHABET

if TYPE_CHECKING:
    import onnxruntime

WIDEST_PX = 4096
FRAME_PX = 4  # columns of the picture for one answer of the network


@dataclass(frozen=True, slots=True)
class SeenSymbol:
    """One symbol; confidence 0..1, that it is this one and that none was missed before it.

    column : where it stands in the straightened staff [pixels]
    """

    name: str
    confidence: float
    column: float


def symbols_on(staff: Ink) -> tuple[SeenSymbol, ...]:
    """Read one staff; shape (176, width) as `staves.straightened` gives it."""
    width = min(-(-staff.shape[1] // 16) * 16, WIDEST_PX)
    given = np.zeros((1, 1, staff.shape[0], width), np.float32)
    part = staff[:, :width]
    given[0, 0, :, : part.shape[1]] = part
    logits = _network().run(None, {"staff": given})[0][0]
    return decoded(_softmax(logits))


def decoded(chances: NDArray[np.float32]) -> tuple[SeenSymbol, ...]:
    """Take the best symbol of each frame, equal ones side by side as one.

    chances : (frames, symbols + 1), the first for none
    """
    best = chances.argmax(1)
    edges = np.flatnonzero(np.diff(best)) + 1
    runs = list(zip([0, *edges], [*edges, len(best)], strict=True))
    found: list[SeenSymbol] = []
    missed = 0.0
    for start, stop in runs:
        label = int(best[start])
        part = chances[start:stop]
        if label == 0:
            missed = max(missed, _hidden(chances, start, stop, best))
            continue
        sure = float(part[:, label].max()) * (1 - missed)
        at = FRAME_PX * (start + int(part[:, label].argmax()) + 0.5)
        found.append(SeenSymbol(ALPHABET[label - 1], sure, at))
        missed = 0.0
    return tuple(found)


def _hidden(chances: NDArray[np.float32], start: int, stop: int, best: NDArray[np.int64]) -> float:
    """The chance of a symbol that was nearly seen where none was taken."""
    part = chances[start:stop, 1:].copy()
    for beside in (start - 1, stop):  # the symbols to both sides leak into the frames beside them
        if 0 <= beside < len(best) and best[beside]:
            part[:, best[beside] - 1] = 0
    return float(part.max())


def _softmax(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    powers = np.exp(logits - logits.max(1, keepdims=True))
    return np.asarray(powers / powers.sum(1, keepdims=True), np.float32)


@lru_cache(maxsize=1)
def _network() -> "onnxruntime.InferenceSession":
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 3
    data = files("coldtake.music.print").joinpath("print.onnx").read_bytes()
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
