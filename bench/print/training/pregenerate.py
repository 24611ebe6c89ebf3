"""Engrave staves with abcm2ps beforehand, for a machine that has none.

python pregenerate.py OUT.pickle COUNT [FIRST_SEED]
"""

import io
import pickle
import sys

from crops import sample
from PIL import Image

if __name__ == "__main__":
    out, seed = [], int(sys.argv[3]) if len(sys.argv) > 3 else 50_000_000
    while len(out) < int(sys.argv[2]):
        seed += 1
        found = sample(seed, engraver="abcm2ps")
        if found is None:
            continue
        packed = io.BytesIO()
        Image.fromarray(found[0] >> 4 << 4).save(packed, "PNG", optimize=True)
        out.append((packed.getvalue(), found[1]))
        if len(out) % 200 == 0:
            with open(sys.argv[1], "wb") as f:
                pickle.dump(out, f)
