"""Train the listener of chords. Needs torch, tinysoundfont, NumPy and TimGM6mb.

    python train.py OUT --bank TimGM6mb.sf2 --minutes 7

Writes OUT/chords.onnx, OUT/chords.pt and OUT/figures.json (loss by step, and how held-out
programmes fare).
"""

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np
import torch
from torch import nn

sys.path.insert(0, str(Path(__file__).parent))
import events
import library
import mixing
import net as networks

try:
    import spectrum  # beside this script, where it is carried to a machine of its own
except ImportError:
    sys.path.insert(0, str(Path(__file__).parents[4] / "src"))
    from coldtake.listening.chords import spectrum

LENGTH = int(events.SEGMENT_S * mixing.RATE)
FRAMES = LENGTH // spectrum.HOP


class Batches(torch.utils.data.IterableDataset):
    """Tables of random takes, made by worker processes."""

    def __init__(self, kit: events.Kit, segments: int, seed: int) -> None:
        self.kit, self.segments, self.seed = kit, segments, seed

    def __iter__(self):
        info = torch.utils.data.get_worker_info()
        number = 0 if info is None else info.id
        rng = np.random.default_rng([self.seed, number])
        while True:
            yield events.table(rng, self.kit, self.segments, FRAMES, spectrum.STEP_S)


class Losses:
    """What is to be learnt, weighed."""

    def __init__(self, device: torch.device) -> None:
        self.device = device

    def __call__(self, logits: torch.Tensor, batch: dict) -> tuple[torch.Tensor, dict]:
        bce = nn.functional.binary_cross_entropy_with_logits
        onset = batch["onset"]
        a = (bce(logits[:, 0], onset, reduction="none") * (1 + 4 * onset)).sum() / onset.sum()
        sounding = batch["sounding"].float()
        b = bce(logits[:, 1], sounding, reduction="sum") / sounding.sum()
        asked = batch["expected"]
        mask = asked != 0
        # a note left out is rarer than one played: weighed up, so that both count
        weight = torch.where(asked < 0, 3.0, 1.0) * mask
        c = (bce(logits[:, 2], (asked > 0).float(), reduction="none") * weight).sum()
        c = c / weight.sum().clamp(min=1)
        return a + b + 2.0 * c, {"onset": a.item(), "sounding": b.item(), "expected": c.item()}


def sounded(table: dict, lib: torch.Tensor, ear, rng, gen, device) -> dict:
    """A batch ready for the network."""
    segments = len(table["onset"])
    with torch.no_grad():
        sound = mixing.mix(np.asarray(table["notes"]), lib, segments, LENGTH)
        sound = mixing.coloured(sound, rng, gen)
        batch = {"spectrum": ear(sound, FRAMES, spectrum.HOP, spectrum.FRAME)}
    for name in ("onset", "sounding", "expected", "score"):
        batch[name] = torch.as_tensor(table[name]).to(device, non_blocking=True)
    told = batch["score"].amax((1, 2, 3), keepdim=True) > 0
    flag = told.float().expand(-1, 1, FRAMES, 88)
    batch["score"] = torch.cat([batch["score"], flag], 1)
    return batch


@torch.no_grad()
def figures_of(model, batches, lib, ear, device, count: int, seed: int) -> dict:
    """How well expected notes are told apart, and onsets found without a score."""
    model.eval()
    rng, gen = np.random.default_rng(seed), torch.Generator(device).manual_seed(seed)
    said, true, hits, found, wanted = [], [], 0, 0, 0
    for _ in range(count):
        batch = sounded(next(batches), lib, ear, rng, gen, device)
        logits = model(batch["spectrum"], batch["score"]).float()
        asked = batch["expected"]
        said.append(logits[:, 2][asked != 0].cpu().numpy())
        true.append(asked[asked != 0].cpu().numpy() > 0)
        blind = model(batch["spectrum"], torch.zeros_like(batch["score"])).float()
        p = torch.sigmoid(blind[:, 0])
        top = nn.functional.max_pool2d(p[:, None], (5, 1), 1, (2, 0))[:, 0]
        peak = (p == top) & (p > 0.5)
        near = nn.functional.max_pool2d(batch["onset"][:, None], (3, 1), 1, (1, 0))[:, 0] > 0.34
        sure = batch["onset"] > 0.84
        reach = nn.functional.max_pool2d(peak.float()[:, None], (5, 1), 1, (2, 0))[:, 0] > 0
        hits += int((peak & near).sum())
        found += int(peak.sum())
        wanted += int(sure.sum())
    model.train()
    del reach
    said_all, true_all = np.concatenate(said), np.concatenate(true)
    out = {"precision": hits / max(found, 1), "recall": hits / max(wanted, 1)}
    if true_all.any() and (~true_all).any():
        for share in (0.005, 0.01, 0.02):
            limit = np.quantile(said_all[true_all], share)
            out[f"missing told at {share}"] = float((said_all[~true_all] < limit).mean())
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--bank", required=True)
    parser.add_argument("--minutes", type=float, default=7.0)
    parser.add_argument("--segments", type=int, default=48)
    parser.add_argument("--ours", type=int, default=140, help="invented instruments")
    parser.add_argument("--workers", type=int, default=14)
    parser.add_argument("--channels", type=int, default=48)
    parser.add_argument("--step", type=int, default=2, help="keys from note to note of the bank")
    parser.add_argument("--some", type=int, default=1000, help="at most so many programmes")
    parser.add_argument("--rate", type=float, default=2.5e-3)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--resume", type=Path, help="weights to go on from")
    parser.add_argument("--everything", action="store_true", help="train on held-out ones too")
    args = parser.parse_args()
    begun = time.time()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(1)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    args.out.mkdir(parents=True, exist_ok=True)
    held = library.HELD_OUT
    chosen = [p for p in library.PROGRAMMES if args.everything or p not in held][: args.some]
    bank = library.from_bank(args.bank, tuple(chosen), step=args.step, workers=args.workers)
    print("bank", bank.notes.shape, f"{time.time() - begun:.0f} s", flush=True)
    other = library.from_bank(args.bank, held[: args.some], step=args.step, workers=args.workers)
    ours = library.invented(args.ours, args.seed, torch, device)
    print("ours", ours.notes.shape, f"{time.time() - begun:.0f} s", flush=True)
    both = library.Library(*(
        np.concatenate([getattr(bank, f), getattr(ours, f)]) for f in bank.__dataclass_fields__
    ))  # fmt: skip
    kit = events.kit_of(both, library.WEIGHT, 0.4)
    kit_held = events.kit_of(other, {}, 0.0)
    lib = torch.as_tensor(both.notes).to(device)
    lib_held = torch.as_tensor(other.notes).to(device)
    ear = networks.Ear(spectrum.kernels().toarray().astype(np.complex64)).to(device)
    model = networks.Net(args.channels).to(device)
    if args.resume:
        model.load_state_dict(torch.load(args.resume, map_location=device))
    print("weights", sum(p.numel() for p in model.parameters()), flush=True)
    load = torch.utils.data.DataLoader(
        Batches(kit, args.segments, args.seed), batch_size=None,
        num_workers=args.workers, prefetch_factor=4 if args.workers else None,
    )  # fmt: skip
    optimiser = torch.optim.AdamW(model.parameters(), lr=args.rate, weight_decay=1e-3)
    rng, gen = np.random.default_rng(5), torch.Generator(device).manual_seed(5)
    loss_of, log = Losses(device), []
    kept = networks.Net(args.channels).to(device)
    kept.load_state_dict(model.state_dict())
    start, k = time.time(), 0
    whole = args.minutes * 60 - (start - begun) - (25 if device.type == "cuda" else 5)
    running: dict[str, float] = {}
    for table in load:
        part = (time.time() - start) / whole
        if part >= 1:
            break
        warm = min(k / 200, 1.0)
        for group in optimiser.param_groups:
            group["lr"] = args.rate * warm * (0.02 + 0.98 * 0.5 * (1 + np.cos(np.pi * part)))
        batch = sounded(table, lib, ear, rng, gen, device)
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            logits = model(batch["spectrum"], batch["score"])
        loss, parts = loss_of(logits.float(), batch)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        keep = min(0.998, k / (k + 20))
        with torch.no_grad():
            for a, b in zip(kept.state_dict().values(), model.state_dict().values(), strict=True):
                if a.dtype.is_floating_point:
                    a.lerp_(b, 1 - keep)
                else:
                    a.copy_(b)
        for name, value in parts.items():
            running[name] = 0.98 * running.get(name, value) + 0.02 * value
        k += 1
        if k % 100 == 0 or k in (1, 5, 20):
            log.append({"step": k, "s": time.time() - start, **running})
            print({n: round(v, 4) for n, v in log[-1].items()}, flush=True)
    figures = {"steps": k, "log": log}
    told = "held out" if not args.everything else "held out before, now trained on"
    for name, what, sounds, seed in (("own", kit, lib, 99), (told, kit_held, lib_held, 98)):
        batches = iter(Batches(what, 32, seed))
        count = 12 if device.type == "cuda" else 1
        figures[name] = figures_of(kept, batches, sounds, ear, device, count, seed)
        print(name, figures[name], flush=True)
    export(kept.eval().cpu(), args.out)
    (args.out / "figures.json").write_text(json.dumps(figures, indent=1))
    print(f"done after {time.time() - begun:.0f} s")


def export(model: nn.Module, out: Path) -> None:
    """ONNX with batch 1 and any number of frames."""
    torch.save(model.state_dict(), out / "chords.pt")
    sample = (torch.zeros(1, 2, 200, networks.BINS), torch.zeros(1, 3, 200, networks.KEYS))
    torch.onnx.export(
        model, sample, str(out / "chords.onnx"), input_names=["spectrum", "score"],
        output_names=["logits"], opset_version=17, dynamo=False,
        dynamic_axes={"spectrum": {2: "frames"}, "score": {2: "frames"}, "logits": {2: "frames"}},
    )  # fmt: skip


if __name__ == "__main__":
    main()
