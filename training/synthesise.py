"""Speak the plan on a GPU and store utterances with their phone times.

Rules of this file. One process or more a GPU; process RANK of WORLD speaks every WORLD-th call. It
stops at the deadline with what it has. Output in FOLDER: pcm-RANK.npy (int16, 16 kHz, all
utterances end to end) and speech-RANK.npz (one row an utterance, see Table).

    python -m training.synthesise --plan FOLDER --onnx FILE --out FOLDER --rank 0 --world 1
"""

from __future__ import annotations

import argparse
import itertools
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from training import plan as p
from training.kokoro_torch import Batched, Text, read_weights, speak_all

MAX_PHONES = 72
MAX_SECONDS = 6.0
STEP = 400  # samples at 16 kHz per synthesis frame


def resampler(device: str) -> Tensor:
    """Two polyphase filters (2, 1, 97) that take 24 kHz to 16 kHz; cut-off 7.6 kHz."""
    taps = np.arange(-48, 49)[None]
    t = taps - np.array([[0.0], [1.5]])  # output 2k is at input 3k, output 2k+1 at 3k + 1.5
    cut = 2 * 7600 / 24000
    h = cut * np.sinc(cut * t) * np.where(np.abs(t) < 46, np.cos(np.pi * t / 92) ** 2, 0)
    return torch.tensor(h[:, None], dtype=torch.float32, device=device)


def to_16k(audio: Tensor, filters: Tensor) -> Tensor:
    """(n, 3m) at 24 kHz to (n, 2m) at 16 kHz."""
    y = F.conv1d(F.pad(audio[:, None], (48, 48)), filters, stride=3)
    return y.transpose(1, 2).flatten(1)


@dataclass
class Table:
    """One row an utterance; times in samples at 16 kHz from the utterance's first sample."""

    start: list[int] = field(default_factory=list)
    length: list[int] = field(default_factory=list)
    count: list[int] = field(default_factory=list)
    phone: list[np.ndarray] = field(default_factory=list)
    begin: list[np.ndarray] = field(default_factory=list)
    end: list[np.ndarray] = field(default_factory=list)
    word: list[np.ndarray] = field(default_factory=list)
    trade: list[bool] = field(default_factory=list)
    contrast: list[bool] = field(default_factory=list)
    call: list[int] = field(default_factory=list)

    def save(self, path: Path) -> None:
        """Write all rows, padded to MAX_PHONES."""
        arrays: dict[str, np.ndarray] = {
            "start": np.array(self.start, np.int64),
            "length": np.array(self.length, np.int32),
            "count": np.array(self.count, np.int32),
            "trade": np.array(self.trade, bool),
            "contrast": np.array(self.contrast, bool),
            "call": np.array(self.call, np.int32),
        }
        for name, dtype in (
            ("phone", np.uint8),
            ("begin", np.int32),
            ("end", np.int32),
            ("word", np.uint8),
        ):
            out = np.zeros((len(self.start), MAX_PHONES), dtype)
            for i, row in enumerate(getattr(self, name)):
                out[i, : len(row)] = row
            arrays[name] = out
        np.savez(path, **arrays)


def cut(
    phone: np.ndarray, flag: np.ndarray, durations: np.ndarray
) -> list[tuple[int, int, dict[str, np.ndarray], bool, bool]]:
    """Cut one call into segments: (first sample, last sample, phone columns, trade, contrast)."""
    ends = np.cumsum(durations) * STEP
    spoken = np.flatnonzero(phone < p.PAUSE)
    first = flag[spoken] & p.FIRST_OF_PHONE > 0
    begins = ends[spoken][first]  # ends[k] is the start of token k, because of the leading pad
    last = np.append(np.flatnonzero(first)[1:] - 1, len(spoken) - 1)
    stops = ends[spoken[last] + 1]
    phones, flags = phone[spoken][first], flag[spoken][first]
    # A short gap (a space token) is part of its neighbours; a longer one is silence.
    gap = begins[1:] - stops[:-1]
    close = (gap > 0) & (gap <= 3 * STEP)
    middle = stops[:-1] + gap // 2
    begins[1:] = np.where(close, middle, begins[1:])
    stops[:-1] = np.where(close, middle, stops[:-1])
    word = np.cumsum(flags & p.FIRST_OF_WORD > 0)
    edges = np.append(np.flatnonzero(flags & p.FIRST_OF_SEGMENT), len(phones))
    out = []
    for a, b in itertools.pairwise(edges):
        before = begins[a] - (stops[a - 1] if a else 0)
        after = (begins[b] if b < len(phones) else ends[-1]) - stops[b - 1]
        start = int(begins[a] - min(4800, before // 2 if a else before))
        stop = int(stops[b - 1] + min(4800, after // 2 if b < len(phones) else after))
        columns = {
            "phone": phones[a:b],
            "begin": begins[a:b] - start,
            "end": stops[a:b] - start,
            "word": word[a:b] - word[a],
        }
        out.append((start, stop, columns, bool(flags[a] & p.TRADE), bool(flags[a] & p.CONTRAST)))
    return out


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True)
    parser.add_argument("--onnx", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--rank", type=int, default=0)
    parser.add_argument("--world", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--chunk", type=int, default=8000)
    parser.add_argument("--limit", type=int, default=10**9)
    parser.add_argument("--batch-frames", type=int, default=8000)
    args = parser.parse_args()
    deadline = time.monotonic() + args.seconds
    cuda = torch.cuda.is_available()
    device = f"cuda:{args.rank % torch.cuda.device_count()}" if cuda else "cpu"
    if cuda:
        torch.cuda.set_device(device)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.manual_seed(args.rank)
    plan = np.load(args.plan / "plan.npz")
    plan = {k: plan[k] for k in plan.files}
    voices = np.load(args.plan / "voices.npz")
    styles = voices["styles"].astype(np.float32)
    net = Batched(read_weights(args.onnx), device, torch.float16 if cuda else torch.float32)
    filters = resampler(device)
    calls = np.arange(args.rank, min(len(plan["speed"]), args.limit), args.world)
    table, pieces, total = Table(), [], 0
    began = time.monotonic()
    for at in range(0, len(calls), args.chunk):
        chunk = calls[at : at + args.chunk]
        texts = []
        for c in chunk:
            ids = plan["ids"][plan["offset"][c] : plan["offset"][c + 1]]
            rows = styles[plan["voice"][c], min(len(ids), p.ROWS - 1)]  # (2, VOICES, 256)
            mixed = (rows * plan["weight"][c].astype(np.float32)[..., None]).sum(1)
            style = np.concatenate([mixed[0, :128], mixed[1, 128:]])
            how = (float(plan[k][c]) for k in ("speed", "pitch", "stretch", "lively"))
            texts.append(Text(ids.tolist(), style, *how))
        for index, durations, audio in speak_all(net, texts, batch_frames=args.batch_frames):
            sound = to_16k(audio, filters)
            peak = sound.abs().amax(1, keepdim=True)
            good = (torch.isfinite(peak) & (peak > 1e-3)).squeeze(1).cpu().numpy()
            pcm = (sound / peak.clamp(min=1e-3) * 30000).round().to(torch.int16).cpu().numpy()
            for k, i in enumerate(index):
                if not good[k]:
                    continue
                c = chunk[i]
                span = slice(plan["offset"][c], plan["offset"][c + 1])
                for start, stop, columns, trade, contrast in cut(
                    plan["phone"][span], plan["flag"][span], durations[k]
                ):
                    stop = min(stop, pcm.shape[1])
                    n = len(columns["phone"])
                    if n > MAX_PHONES or stop - start > MAX_SECONDS * 16000 or stop - start < 4000:
                        continue
                    pieces.append(pcm[k, start:stop])
                    table.start.append(total)
                    table.length.append(stop - start)
                    table.count.append(n)
                    table.trade.append(trade)
                    table.contrast.append(contrast)
                    table.call.append(int(c))
                    for name, column in columns.items():
                        getattr(table, name).append(column)
                    total += stop - start
            if time.monotonic() > deadline:
                break
        spent = time.monotonic() - began
        hours = total / 16000 / 3600
        print(
            f"rank {args.rank}: {hours:.2f} h, {len(table.start)} utterances, {spent:.0f} s",
            flush=True,
        )
        if time.monotonic() > deadline:
            break
    args.out.mkdir(parents=True, exist_ok=True)
    np.save(args.out / f"pcm-{args.rank}.npy", np.concatenate(pieces))
    table.save(args.out / f"speech-{args.rank}.npz")


if __name__ == "__main__":
    main()
