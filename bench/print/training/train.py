"""Train the reader of print. Needs torch, verovio, resvg_py, Pillow and NumPy.

    python train.py OUT --minutes 8 --abc abc1.pickle

Workers engrave staves without end (verovio's fonts but the one left out; abcm2ps from files made by
`pregenerate.py`); they lie on the device in a ring, and every batch is spoiled anew (`spoil.py`).
Writes OUT/print.onnx, OUT/print.pt and OUT/figures.json.
"""

import argparse
import io
import json
import os
import pickle
import sys
import time
from pathlib import Path

import numpy as np
import torch
from torch import multiprocessing, nn

sys.path.insert(0, str(Path(__file__).parent))
from net import Net
from spoil import spoiled

try:
    import symbols  # beside this script, where it is carried to a machine of its own
except ImportError:
    sys.path.insert(0, str(Path(__file__).parents[3] / "src"))
    from coldtake.music.print import symbols

WIDEST = 1408


def engrave(queue, number: int, seed: int) -> None:
    """A worker: staves without end."""
    import crops

    torch.set_num_threads(1)
    n = seed * 1_000_000_000 + number * 10_000_000
    while True:
        n += 1
        found = crops.sample(n)
        if found is not None:
            picture, said = found
            queue.put((picture, np.array([symbols.INDEX[s] for s in said], np.int16)))


class Ring:
    """Pictures and what they say, on the device."""

    def __init__(self, size: int, device: torch.device) -> None:
        shape = (size, symbols.HEIGHT_PX, WIDEST)
        self.pictures = torch.empty(shape, dtype=torch.uint8, device=device)
        self.widths = np.zeros(size, np.int64)
        self.said: list[np.ndarray] = [np.zeros(0, np.int16)] * size
        self.made, self.size = 0, size

    def add(self, picture: np.ndarray, said: np.ndarray) -> None:
        at = self.made % self.size
        self.pictures[at] = 0
        ink = torch.as_tensor(255 - picture)
        self.pictures[at, :, : picture.shape[1]] = ink.to(self.pictures.device, non_blocking=True)
        self.widths[at], self.said[at] = picture.shape[1], said
        self.made += 1

    @property
    def full(self) -> int:
        return min(self.made, self.size)

    def batch(self, rng: np.random.Generator, count: int):
        # of a handful of draws those of one width go together
        draw = rng.integers(0, self.full, count * 4)
        draw = draw[np.argsort(self.widths[draw] + rng.normal(0, 60, len(draw)))]
        at = int(rng.integers(0, 4)) * count
        return self.these(draw[at : at + count], rng)

    def these(self, chosen: np.ndarray, rng: np.random.Generator):
        left = min(int(rng.integers(0, 24)), WIDEST - int(self.widths[chosen].max()))
        width = int(self.widths[chosen].max()) + left + int(rng.integers(8, 40))
        width = min((width + 15) // 16 * 16, WIDEST)
        rows = torch.as_tensor(chosen, device=self.pictures.device)
        ink = torch.zeros((len(chosen), 1, symbols.HEIGHT_PX, width), device=rows.device)
        part = self.pictures[rows, :, : width - left].float() / 255
        ink[:, 0, :, left : left + part.shape[2]] = part
        return ink, [self.said[i] for i in chosen]


def levels(count: int, device) -> torch.Tensor:
    level = torch.rand(count, 1, 1, 1, device=device) * 1.1
    return torch.where(torch.rand_like(level) < 0.25, level * 0.15, level)


def decoded(logits: torch.Tensor) -> list[list[int]]:
    best = logits.argmax(-1).cpu().numpy()
    out = []
    for row in best:
        kept = row[np.r_[True, row[1:] != row[:-1]]]
        out.append([int(k) for k in kept if k])
    return out


def distance(a: list[int], b: list[int]) -> int:
    row = np.arange(len(b) + 1)
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return int(row[-1])


@torch.no_grad()
def error_rate(net: Net, ring: Ring, level: float, count: int, seed: int) -> float:
    """Symbols wrong, missed or extra, of all."""
    net.eval()
    torch.manual_seed(seed)
    rng, wrong, total = np.random.default_rng(seed), 0, 0
    for start in range(0, min(count, ring.full), 32):
        chosen = np.arange(start, min(start + 32, ring.full))
        ink, said = ring.these(chosen, rng)
        strength = torch.full((len(chosen), 1, 1, 1), level, device=ink.device)
        for got, want in zip(decoded(net(spoiled(ink, strength))), said, strict=True):
            wrong += distance(got, list(want))
            total += len(want)
    net.train()
    return wrong / max(total, 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--abc", type=Path, nargs="*", default=[])
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--ring", type=int, default=120_000)
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--rate", type=float, default=1.2e-3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--start", type=int, default=1500, help="staves before the first step")
    args = parser.parse_args()
    begun = time.time()
    args.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = False
    context = multiprocessing.get_context("spawn")
    queue = context.Queue(2000)
    workers = [
        context.Process(target=engrave, args=(queue, number, args.seed), daemon=True)
        for number in range(args.workers)
    ]
    for worker in workers:
        worker.start()
    ring = Ring(args.ring, device)
    held = Ring(256, device)
    from PIL import Image

    packed = [item for path in args.abc for item in pickle.loads(path.read_bytes())]
    abcs = [
        (
            np.asarray(Image.open(io.BytesIO(p))),
            np.array([symbols.INDEX[s] for s in said], np.int16),
        )
        for p, said in packed
    ]
    left_out = Ring(256, device)
    import crops

    seed = 900_000_000_000
    aside = min(160, args.ring // 4)
    while left_out.made < aside:
        seed += 1
        found = crops.sample(seed, fonts=(crops.LEFT_OUT,))
        if found:
            left_out.add(found[0], np.array([symbols.INDEX[s] for s in found[1]], np.int16))
    for picture, said in abcs[: len(abcs) // 20]:
        held.add(picture, said)
    abcs = abcs[len(abcs) // 20 :]
    net = Net(len(symbols.ALPHABET) + 1).to(device, memory_format=torch.channels_last)
    if args.resume:
        net.load_state_dict(torch.load(args.resume, map_location=device))
    kept = Net(len(symbols.ALPHABET) + 1).to(device)
    kept.load_state_dict(net.state_dict())
    print("weights", sum(p.numel() for p in net.parameters()), flush=True)
    every = 6  # one in so many from abcm2ps, again and again
    taken = 0

    def fill(most: int) -> None:
        nonlocal taken
        for _ in range(most):
            try:
                ring.add(*queue.get_nowait())
            except Exception:  # noqa: BLE001 - the queue is empty
                return
            if abcs and ring.made % every == 0 and taken < 3 * len(abcs):
                ring.add(*abcs[taken % len(abcs)])
                taken += 1

    while ring.made < args.start:
        fill(200)
        time.sleep(0.05)
    print(f"{ring.made} staves after {time.time() - begun:.0f} s", flush=True)
    ctc = nn.CTCLoss(zero_infinity=True)
    optimiser = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=1e-2)
    rng, log, k, running = np.random.default_rng(args.seed), [], 0, 0.0
    start = time.time()
    whole = args.minutes * 60 - (start - begun) - (25 if device.type == "cuda" else 5)
    spent = [0.0, 0.0]
    while (part := (time.time() - start) / whole) < 1:
        t = time.time()
        fill(60)
        spent[0] += time.time() - t
        warm = min(k / 300, 1.0)
        for group in optimiser.param_groups:
            group["lr"] = args.rate * warm * (0.01 + 0.99 * 0.5 * (1 + np.cos(np.pi * part)))
        ink, said = ring.batch(rng, args.batch)
        easy = min(1.0, k / 2500) if not args.resume else 1.0
        with torch.no_grad():
            ink = spoiled(ink, levels(len(said), device) * easy)
            ink = ink.contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            logits = net(ink)
        odds = logits.float().log_softmax(-1).transpose(0, 1)
        lengths = torch.full((len(said),), odds.shape[0], dtype=torch.long)
        wanted = torch.as_tensor(np.concatenate(said).astype(np.int64), device=device)
        loss = ctc(odds, wanted, lengths, torch.as_tensor([len(s) for s in said]))
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        keep = min(0.999, k / (k + 30))
        with torch.no_grad():
            old, new = list(kept.state_dict().values()), list(net.state_dict().values())
            floats = [i for i, o in enumerate(old) if o.dtype.is_floating_point]
            torch._foreach_lerp_([old[i] for i in floats], [new[i] for i in floats], 1 - keep)
        k += 1
        if k % 20 == 0 or k < 5:
            running = loss.item() if not running else 0.9 * running + 0.1 * loss.item()
        if k % 500 == 0 or k in (1, 5, 20, 100):
            entry = {"step": k, "s": time.time() - start, "loss": running, "staves": ring.made}
            if k % 2000 == 0:
                entry["left out"] = error_rate(kept, left_out, 0.4, 64, 7)
                torch.save(kept.state_dict(), args.out / "print.pt")
            log.append(entry)
            print({n: round(v, 4) for n, v in entry.items()}, round(spent[0], 1), flush=True)
    figures: dict = {"steps": k, "staves": ring.made, "arguments": vars(args) | {
        "out": "", "abc": len(args.abc), "resume": bool(args.resume)}, "log": log}  # fmt: skip
    for name, what in (("font left out", left_out), ("abcm2ps held out", held), ("seen", ring)):
        figures[name] = {
            str(level): error_rate(kept, what, level, 160, 7) for level in (0.0, 0.3, 0.6, 1.0)
        }
        print(name, figures[name], flush=True)
    torch.save(kept.state_dict(), args.out / "print.pt")
    (args.out / "figures.json").write_text(json.dumps(figures, indent=1))
    from export import export

    export(kept.eval().cpu(), args.out / "print.onnx")
    print(f"done after {time.time() - begun:.0f} s", flush=True)
    for worker in workers:  # they engrave without end
        worker.kill()
    os._exit(0)


if __name__ == "__main__":
    main()
