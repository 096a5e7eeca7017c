"""Train the acoustic network on the stored speech, for a number of seconds; resumes.

Rules of this file. One process a GPU, gradients averaged over the processes. The learning rate
follows the share of the planned time that is spent, so a slower machine trains fewer steps and
still ends its schedule. The state is written every minute and at the end, the averaged weights to
--result in two files of under 16 MB each. --init goes on from such weights: no optimiser state, the
rate warms up again, the synthesis times keep their low weight from the start.

    python -m training.train --data FOLDER --state FILE --result FOLDER --seconds 560 --total 1100

--without leaves ingredients out, to see what they buy: noise (every added background), shifts
(speed and vocal tract), garbage (words and cut words as SPN), contrast (the segments that are said
because something sounds like them). --lone is the share of lone words of talk that are garbage.
--steps ends a run after so many steps, its schedule too.
"""

from __future__ import annotations

import argparse
import math
import os
import queue
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import torch
import torch.distributed as dist
import torch.nn.functional as F
from torch import Tensor

from training import lexicon, lfmmi, network
from training.augment import WARPS, Augment
from training.features import RATE, frames
from training.noise import Maker, rooms

SIZES = (0.9, 1.2, 1.5, 1.9, 2.4, 3.0, 3.8, 4.8, 6.2)  # s, one per bucket
SPN, SIL = lexicon.SPN, lexicon.SIL
FRAGMENTS = 0.04
LEFT = (0.15, 0.45)  # of a cut word: more of "sixty" is "six", more of "eighth" is "eight"
WITHOUT = ("noise", "shifts", "garbage", "contrast")


def mulaw_decode(codes: np.ndarray) -> np.ndarray:
    """uint8 mu-law codes to int16."""
    x = (codes.astype(np.float32) - 128) / 127
    return np.round(np.sign(x) * np.expm1(np.abs(x) * math.log(256)) / 255 * 30000).astype(np.int16)


class Speech:
    """All utterances of this process: table on the CPU, samples and phone times on the GPU."""

    def __init__(
        self, folder: Path, ranks: list[int], device: str, share: float, contrast: bool = True
    ) -> None:
        tables, parts, total = [], [], 0
        for rank in ranks:
            table = np.load(folder / f"speech-{rank}.npz")
            tables.append({k: table[k] for k in table.files if k != "call"})
            tables[-1]["start"] = tables[-1]["start"] + total
            parts.append(np.load(folder / f"pcm-{rank}.npy"))
            total += len(parts[-1])
        columns = {k: np.concatenate([t[k] for t in tables]) for k in tables[0]}
        pcm = np.concatenate(parts)
        columns["aligned"] = np.ones(len(columns["start"]), bool)
        other = folder / "other.npz"
        if other.exists():
            more = np.load(other)
            extra = {k: more[k] for k in columns if k != "aligned"}
            extra["start"] = extra["start"] + len(pcm)
            extra["aligned"] = np.zeros(len(extra["start"]), bool)
            pcm = np.concatenate([pcm, mulaw_decode(more["mulaw"])])
            repeat = max(1, int(share * columns["length"].sum() / extra["length"].sum()))
            columns = {k: np.concatenate([columns[k]] + [extra[k]] * repeat) for k in columns}
        if not contrast:
            columns = {k: v[~columns["contrast"]] for k, v in columns.items()}
        pcm = np.concatenate([pcm, np.zeros(16, np.int16)])
        columns["start"] = np.maximum(columns["start"], 1)
        self.pcm = torch.tensor(pcm, device=device)
        self.c = columns
        self.words = columns["word"][np.arange(len(columns["count"])), columns["count"] - 1] + 1
        self.gpu = {
            k: torch.tensor(columns[k].astype(np.int32), device=device) for k in ("begin", "end")
        }
        self.start = torch.tensor(columns["start"], device=device)
        self.length = torch.tensor(columns["length"], device=device)
        last = columns["end"][np.arange(len(columns["count"])), columns["count"] - 1]
        # Old synthesisers have no phone times; they are stored with 0.1 s on each side.
        timed = columns["aligned"]
        begin = np.where(timed, columns["begin"][:, 0], 1600)
        end = np.where(timed, last, columns["length"] - 1600)
        self.spoken = torch.tensor(np.stack([begin, end], 1).astype(np.float32), device=device)

    def hours(self) -> float:
        """Stored speech, repeats counted."""
        return float(self.c["length"].sum()) / RATE / 3600

    def running(self, g: torch.Generator) -> Callable[[int, int], Tensor]:
        """A function that returns unbroken stretches of speech (for babble)."""

        def speech(n: int, size: int) -> Tensor:
            last = len(self.pcm) - size - 1
            if last <= 0:
                raise ValueError("too little speech for babble")
            at = torch.randint(0, last, (n, 1), generator=g, device=self.pcm.device)
            return self.pcm[at + torch.arange(size, device=self.pcm.device)].float()

        return speech


class Batches:
    """Endless batches, made in a thread. Each is (bucket size in samples, numpy arrays)."""

    def __init__(
        self, speech: Speech, bigram: lfmmi.Bigram, seed: int, seconds: float, silent: float,
        garbled: bool = True, lone: float = 0.3,
    ) -> None:  # fmt: skip
        self.s, self.bigram, self.silent, self.seconds = speech, bigram, silent, seconds
        self.garbled, self.lone = garbled, lone
        self.rng = np.random.default_rng(seed)
        self.queue: queue.Queue = queue.Queue(6)
        self.seed = seed
        for _ in range(2):
            threading.Thread(target=self.work, daemon=True).start()

    def epoch(self) -> list[tuple[float, np.ndarray]]:
        """All utterances in buckets of similar length, batches in random order."""
        c = self.s.c
        pad = self.rng.uniform(0.12, 0.75, len(c["length"]))
        want = c["length"] / RATE / 0.93 + pad
        bucket = np.searchsorted(SIZES, np.minimum(want, SIZES[-1]))
        out = []
        for b, size in enumerate(SIZES):
            members = self.rng.permutation(np.flatnonzero(bucket == b))
            batch = max(8, int(self.seconds / size) // 8 * 8)
            for k in range(0, len(members) - batch + 1, batch):
                out.append((size, members[k : k + batch]))
        self.rng.shuffle(out)
        if not out:
            raise ValueError("not one full batch: use a smaller --batch")
        return out

    def work(self) -> None:
        """Fill the queue for ever."""
        while True:
            for size, index in self.epoch():
                self.queue.put((int(size * RATE), self.make(index, size)))

    def make(self, index: np.ndarray, size: float) -> dict[str, np.ndarray]:
        """Replace some words by the garbage phone, cut some off, and build the numerators."""
        c, rng = self.s.c, self.rng
        n = len(index)
        phone = c["phone"][index].copy()
        unit = np.tile(np.arange(phone.shape[1], dtype=np.int32), (n, 1))
        silent = rng.random(n) < self.silent
        keep = np.tile(np.array([0, 1e9], np.float32), (n, 1))
        lines = []
        for row, i in enumerate(index):
            if silent[row]:
                lines.append(([SIL], [False]))
                continue
            word, words = c["word"][i][: c["count"][i]], int(self.s.words[i])
            gone = self.garbage(words, bool(c["trade"][i]))
            heard = range(words)
            if self.garbled and c["aligned"][i] and rng.random() < FRAGMENTS:
                heard, keep[row] = self.fragment(i, words)
                gone[heard[0] if keep[row, 0] > 0 else heard[-1]] = True
            line = []
            for w in heard:
                at = np.flatnonzero(word == w)
                if gone[w]:
                    phone[row, at] = SPN
                    unit[row, at] = at[0]
                    line.append([SPN])
                else:
                    line.append(phone[row, at].tolist())
            lines.append(lfmmi.numerator_line(line))
        states = 56 if size < 2.0 else 112
        lines = [x if len(x[0]) <= states else ([SIL], [False]) for x in lines]
        too_long = np.array([len(x[0]) == 1 for x in lines])
        out = lfmmi.numerator_arrays(lines, self.bigram, states)
        out.update(index=index, phones=phone.astype(np.int64), unit=unit, silent=silent | too_long,
                   keep=keep,
                   count=c["count"][index], aligned=c["aligned"][index])  # fmt: skip
        return out

    def garbage(self, words: int, trade: bool) -> np.ndarray:
        """Which words are to become SPN: of talk lone words and short rows often, long rows less;
        a lone word of the trade hardly ever."""
        rng = self.rng
        if not self.garbled:
            return np.zeros(words, bool)
        if words == 1:
            return rng.random(1) < (0.005 if trade else self.lone)
        kind = rng.random()
        if trade:
            return (rng.random(words) < 0.3) & (kind < 0.05)
        if words <= 3:
            return ((rng.random(words) < 0.5) & (kind < 0.16)) | (0.16 < kind < 0.3)
        return ((rng.random(words) < 0.5) & (kind < 0.14)) | (0.14 < kind < 0.19)

    def fragment(self, i: int, words: int) -> tuple[range, tuple[float, float]]:
        """Cut inside a word: the words that are still heard, and the samples to keep.

        Of the cut word LEFT is left: it is no word any more, and what lies beyond is gone.
        """
        c, rng = self.s.c, self.rng
        w = int(rng.integers(words)) if rng.random() < 0.4 else 0
        at_end = rng.random() < 0.5
        if at_end:
            w = words - 1 - w
        at = np.flatnonzero(c["word"][i][: c["count"][i]] == w)
        begin, end = float(c["begin"][i][at[0]]), float(c["end"][i][at[-1]])
        left = rng.uniform(*LEFT) * (end - begin)
        if at_end:
            return range(w + 1), (0.0, begin + left)
        return range(w, words), (end - left, 1e9)


def phone_bigram(speech: Speech, rng: np.random.Generator, limit: int = 40000) -> lfmmi.Bigram:
    """Bigram of the texts, with the silences and garbage that the numerators may have."""
    c = speech.c
    sequences = []
    for i in rng.permutation(len(c["count"]))[:limit]:
        sequence = [SIL] if rng.random() < 0.9 else []
        last = -1
        garbage = rng.random() < 0.12
        for k in range(c["count"][i]):
            word = c["word"][i][k]
            if word != last and last >= 0 and rng.random() < 0.15:
                sequence.append(SIL)
            if word != last:
                gone = garbage and rng.random() < 0.5
                if gone:
                    sequence.append(SPN)
            if not gone:
                sequence.append(int(c["phone"][i][k]))
            last = word
        if rng.random() < 0.9:
            sequence.append(SIL)
        sequences.append(sequence)
    sequences += [[SIL]] * (limit // 20)
    return lfmmi.Bigram.count(sequences, len(lexicon.PHONES))


def frame_labels(
    batch: dict[str, Tensor], speech: Speech, first: Tensor, speed: Tensor, outputs: int
) -> Tensor:
    """pdf of each output frame (B, outputs) from the synthesis times."""
    index = batch["index"]
    t = torch.arange(outputs, device=first.device) * 480.0 + 200.0
    source = (t - first) * speed
    ends = speech.gpu["end"][index].float()
    columns = torch.arange(ends.shape[1], device=ends.device)
    ends = torch.where(columns < batch["count"][:, None], ends, torch.full_like(ends, 1e9))
    k = torch.searchsorted(ends, source.contiguous(), right=True).clamp(max=ends.shape[1] - 1)
    begins = speech.gpu["begin"][index].float().gather(1, k)
    early, late = source < batch["keep"][:, :1], source >= batch["keep"][:, 1:]
    spoken = (source >= begins) & (k < batch["count"][:, None]) & ~batch["silent"][:, None]
    spoken = spoken & ~early & ~late
    phone = torch.where(spoken, batch["phones"].gather(1, k), torch.full_like(k, SIL))
    unit = batch["unit"].gather(1, k).long()
    key = torch.where(spoken, unit * 2 + 1, torch.where(batch["silent"][:, None], 0, k * 2))
    key = torch.where(early, -1, torch.where(late, -2, key))
    enter = torch.ones_like(spoken)
    enter[:, 1:] = key[:, 1:] != key[:, :-1]
    return 2 * phone + (~enter).long()


class Objective:
    """``lfmmi.objective`` replayed as a CUDA graph per shape (plain call on the CPU)."""

    def __init__(self, bigram: lfmmi.Bigram, device: str, graphs: bool) -> None:
        self.arcs = torch.tensor(bigram.arcs, device=device)
        self.start = torch.tensor(bigram.start, device=device)
        self.graphs = graphs
        self.kept: dict[tuple[int, ...], tuple] = {}

    def __call__(self, scores: Tensor, num: dict[str, Tensor]) -> tuple[Tensor, Tensor, Tensor]:
        lengths = torch.full((scores.shape[0],), scores.shape[1], device=scores.device)
        if not self.graphs:
            return lfmmi.objective(scores, lengths, num, self.arcs, self.start)
        key = (*scores.shape, num["phone"].shape[1])
        if key not in self.kept:
            inputs = scores.detach().clone()
            static = {k: v.clone() for k, v in num.items()}
            side = torch.cuda.Stream()
            side.wait_stream(torch.cuda.current_stream())
            with torch.cuda.stream(side):
                lfmmi.objective(inputs, lengths, static, self.arcs, self.start)
            torch.cuda.current_stream().wait_stream(side)
            graph = torch.cuda.CUDAGraph()
            with torch.cuda.graph(graph, capture_error_mode="thread_local"):
                outputs = lfmmi.objective(inputs, lengths, static, self.arcs, self.start)
            self.kept[key] = (graph, inputs, static, outputs, lengths)
        graph, inputs, static, outputs, _ = self.kept[key]
        inputs.copy_(scores.detach())
        for k, v in num.items():
            static[k].copy_(v)
        graph.replay()
        return outputs


class Attach(torch.autograd.Function):
    """A value whose gradient is known already."""

    @staticmethod
    def forward(ctx, scores: Tensor, value: Tensor, gradient: Tensor) -> Tensor:
        """Pass the value."""
        ctx.save_for_backward(gradient)
        return value.clone()

    @staticmethod
    def backward(ctx, grad: Tensor) -> tuple[Tensor, None, None]:
        """Scale the known gradient."""
        return ctx.saved_tensors[0] * grad[:, None, None], None, None


class Average:
    """Exponential moving average of the weights."""

    def __init__(self, net: network.Network, decay: float) -> None:
        self.decay = decay
        self.w = {k: v.detach().clone().float() for k, v in net.named_parameters()}

    @torch.no_grad()
    def update(self, net: network.Network, step: int) -> None:
        """One step."""
        decay = min(self.decay, (1 + step) / (10 + step))
        names = list(self.w)
        now = dict(net.named_parameters())
        torch._foreach_lerp_(
            [self.w[k] for k in names], [now[k].detach() for k in names], 1 - decay
        )


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--state", type=Path, required=True)
    parser.add_argument("--result", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=560)
    parser.add_argument("--total", type=float, default=1100)
    parser.add_argument("--batch", type=float, default=320, help="seconds of audio in a batch")
    parser.add_argument("--width", type=int, default=512)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--clips", type=int, default=20, help="noise clips per unit of weight")
    parser.add_argument("--steps", type=int, default=10**9)
    parser.add_argument("--other", type=float, default=0.1)
    parser.add_argument("--no-graphs", action="store_true")
    parser.add_argument("--init", type=Path, help="weights to begin from (a --result folder)")
    parser.add_argument("--hard", type=float, default=1.0, help="background, 0 mild to 1 hard")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--without", choices=WITHOUT, nargs="*", default=[], help="leave them out")
    parser.add_argument("--lone", type=float, default=0.3, help="of lone talk, this is garbage")
    args = parser.parse_args()
    began = time.monotonic()
    rank, world = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
    cuda = torch.cuda.is_available()
    device = f"cuda:{rank}" if cuda else "cpu"
    if cuda:
        torch.cuda.set_device(rank)
    if world > 1:
        dist.init_process_group("nccl" if cuda else "gloo")
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    resumed = torch.load(args.state, map_location=device) if args.state.exists() else None
    calls = resumed["calls"] + 1 if resumed else 0
    seed = args.seed * 1000 + calls * 100 + rank
    torch.manual_seed(args.seed)
    stored = sorted(int(p.stem[4:]) for p in args.data.glob("pcm-*.npy"))
    speech = Speech(
        args.data, stored[rank::world], device, args.other, "contrast" not in args.without
    )
    bigram = phone_bigram(speech, np.random.default_rng(5))
    if world > 1:  # the same bigram everywhere
        both = torch.tensor(np.concatenate([bigram.arcs, bigram.start[None]]), device=device)
        dist.broadcast(both, 0)
        bigram = lfmmi.Bigram(both[:-1].cpu().numpy(), both[-1].cpu().numpy())
    garbled = "garbage" not in args.without
    batches = Batches(speech, bigram, seed, args.batch, 0.06, garbled, args.lone)
    seconds = 20 if cuda else 2
    g = torch.Generator(device=device).manual_seed(seed + 1)
    maker = Maker(device, seed + 2, speech.running(g), seconds)
    bank, _ = maker.bank(args.clips)
    augment = Augment(device, seed + 3, bank, rooms(device, seed + 4), args.hard, args.without)
    net = network.Network(network.layers(args.width))
    if args.init:
        net.load_state_dict(network.read_weights(args.init))
    net = net.to(device)
    objective = Objective(bigram, device, cuda and not args.no_graphs)
    average = Average(net, 0.999)
    decayed = [p for p in net.parameters() if p.ndim > 1]
    plain = [p for p in net.parameters() if p.ndim == 1]
    groups = [{"params": decayed, "weight_decay": 0.02}, {"params": plain, "weight_decay": 0.0}]
    optimiser = torch.optim.AdamW(groups, args.rate, betas=(0.9, 0.98), fused=cuda)
    step, spent = 0, 0.0
    if resumed:
        net.load_state_dict(resumed["net"])
        average.w = resumed["average"]
        optimiser.load_state_dict(resumed["optimiser"])
        step, spent = resumed["step"], resumed["spent"]
    print(
        f"rank {rank}/{world} {device}: {speech.hours():.2f} h, {len(speech.c['start'])} rows,"
        f" {len(bank)} noise clips, ready after {time.monotonic() - began:.0f} s",
        flush=True,
    )

    def features(size: int, batch: dict[str, np.ndarray]) -> tuple[Tensor, Tensor, dict, Tensor]:
        b = {k: torch.from_numpy(v).to(device, non_blocking=True) for k, v in batch.items()}
        start, length = speech.start[b["index"]], speech.length[b["index"]]
        spoken = speech.spoken[b["index"]]
        x, first, speed = augment(speech.pcm, start, length, size, b["silent"], b["keep"], spoken)
        outputs = (frames(size) + 2) // 3
        return x, frame_labels(b, speech, first, speed, outputs), b, b["aligned"]

    if not resumed and not args.init:
        seen = []
        for _ in range(4):
            seen.append(features(*batches.queue.get())[0].flatten(0, 1))
        seen = torch.cat(seen)
        net.mean.copy_(seen.mean(0))
        net.scale.copy_(1 / seen.std(0).clamp(min=1e-3))
        if world > 1:
            dist.broadcast(net.mean, 0)
            dist.broadcast(net.scale, 0)

    def save() -> None:
        if rank == 0:
            state = {
                "net": net.state_dict(), "average": average.w, "optimiser": optimiser.state_dict(),
                "step": step, "spent": spent + time.monotonic() - training, "calls": calls,
                "hours": speech.hours() * world,
            }  # fmt: skip
            part = args.state.with_suffix(".part")
            torch.save(state, part)
            part.replace(args.state)

    def result() -> None:
        """Averaged weights with batch-norm statistics of their own, in two files."""
        raw = {k: v.detach().clone() for k, v in net.named_parameters()}
        with torch.no_grad():
            for k, v in net.named_parameters():
                v.copy_(average.w[k])
        net.train()
        for norm in net.norms:
            norm.reset_running_stats()
            norm.momentum = None  # plain mean over the batches that follow
        with torch.no_grad():
            for _ in range(60 if cuda else 2):
                net(features(*batches.queue.get())[0])
        if world > 1:
            for norm in net.norms:
                for buffer in (norm.running_mean, norm.running_var):
                    dist.all_reduce(buffer)
                    buffer /= world
        if rank == 0:
            network.write_weights(net.state_dict(), args.result)
            np.savez(args.result / "bigram.npz", arcs=bigram.arcs, start=bigram.start)
        for norm in net.norms:
            norm.momentum = 0.02
        with torch.no_grad():
            for k, v in net.named_parameters():
                v.copy_(raw[k])

    net.train()
    training = time.monotonic()
    params = list(net.parameters())
    progress = spent / args.total
    saved, shown = training, training
    # value, cross-entropy, accuracy, frames, failed
    sums = torch.zeros(6, device=device)
    stop = False
    while not stop and step < args.steps:
        x, labels, b, aligned = features(*batches.queue.get())
        scores, cross = net(x)
        num = {k: b[k] for k in ("phone", "step1", "step2", "start", "final")}
        value, gradient, good = objective(scores.float(), num)
        count = scores.shape[0] * scores.shape[1]
        mmi = -Attach.apply(scores, value, gradient).sum() / count
        ce = F.cross_entropy(cross.flatten(0, 1), labels.flatten(), reduction="none",
                             label_smoothing=0.05).view_as(labels)  # fmt: skip
        ce = (ce * aligned[:, None]).sum() / (aligned.sum() * labels.shape[1]).clamp(min=1)
        weight = 0.15 + 0.85 * max(0.0, 1 - step / 1500) * (args.init is None)
        l2 = scores.square().sum(2).mean() * 2e-5
        loss = mmi + weight * ce + l2
        loss = torch.where(torch.isfinite(loss), loss, torch.zeros_like(loss))
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        grads = [p.grad for p in params]
        flat = torch.cat([g.flatten() for g in grads])
        bad = (~torch.isfinite(flat)).any()
        flat = torch.where(bad, torch.zeros_like(flat), flat)
        now = min(1.0, max((spent + time.monotonic() - training) / args.total, step / args.steps))
        late = float(time.monotonic() - began > args.seconds)
        flat = torch.cat([flat, torch.tensor([now, late], device=device)])
        if world > 1:
            dist.all_reduce(flat)
            flat /= world
        norm = flat[:-2].norm()
        flat[:-2] *= (2.0 / norm.clamp(min=1e-6)).clamp(max=1.0)
        at = 0
        for p in params:
            p.grad = flat[at : at + p.numel()].view_as(p)
            at += p.numel()
        if step % 10 == 0:
            progress, late = flat[-2:].tolist()
            stop = late > 0 or progress >= 1.0
        cosine = 0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(1.0, progress)))
        for group in optimiser.param_groups:
            group["lr"] = args.rate * cosine * min(1.0, (step + 1) / 300)
        optimiser.step()
        average.update(net, step)
        with torch.no_grad():
            hit = ((cross.argmax(2) == labels) & aligned[:, None]).sum() / aligned.sum().clamp(
                min=1
            )
            sums += torch.stack([
                mmi.detach() * count, ce.detach() * count, hit / labels.shape[1] * count,
                torch.tensor(float(count), device=device), (~good).sum().float(), bad.float(),
            ])  # fmt: skip
        step += 1
        if step % 250 == 0 or step in (1, 5, 20, 60):
            m, c, a, n, failed, bads = sums.tolist()
            sums.zero_()
            if rank == 0:
                each = (time.monotonic() - shown) / (250 if step % 250 == 0 else 1)
                print(
                    f"step {step} progress {progress:.3f} mmi {m / n:.4f} ce {c / n:.3f}"
                    f" frame accuracy {a / n:.3f} unaligned {failed:.0f} bad {bads:.0f}"
                    f" lr {optimiser.param_groups[0]['lr']:.2e} {each:.3f} s",
                    flush=True,
                )
            shown = time.monotonic()
        if time.monotonic() - saved > 60:
            save()
            saved = time.monotonic()
    save()
    result()
    if rank == 0:
        print(
            f"stopped at step {step}, {time.monotonic() - began:.0f} s, warps {len(WARPS)}",
            flush=True,
        )
    if world > 1:
        dist.destroy_process_group()


if __name__ == "__main__":
    main()
