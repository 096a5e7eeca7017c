"""LF-MMI: log of (score of what was said) over (score of anything), with its gradient.

Rules of this file. Both sums run over phone sequences; a phone emits its forward pdf 2i on entry
and its self-loop pdf 2i+1 on every further frame. The denominator is a phone bigram with a start
row and no end weights. The numerator is a line of states, some of which may be skipped (optional
silence), with the same bigram weights on its arcs, so that numerator <= denominator always.
Probabilities are kept linear, scaled frame by frame, in float64: a state that lags by e^-700 is
still alive. Checked against brute force in tests/training/test_lfmmi.py.
Shapes: B utterances, T output frames, N phones, S numerator states.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import torch
from torch import Tensor


class Bigram:
    """Phone bigram: ``arcs`` (N, N) and ``start`` (N,), probabilities."""

    def __init__(self, arcs: np.ndarray, start: np.ndarray) -> None:
        self.arcs, self.start = arcs, start

    @classmethod
    def count(cls, sequences: Sequence[Sequence[int]], phones: int, floor: float = 0.3) -> Bigram:
        """Estimate from phone sequences, silences included."""
        arcs, start = np.full((phones, phones), floor), np.full(phones, floor)
        for s in sequences:
            start[s[0]] += 1
            np.add.at(arcs, (np.array(s[:-1], int), np.array(s[1:], int)), 1)
        return cls(arcs / arcs.sum(1, keepdims=True), start / start.sum())


def numerator_line(
    words: Sequence[Sequence[int]], silence: int = 0
) -> tuple[list[int], list[bool]]:
    """Phones of the states and which may be skipped, silence optional between and around words."""
    phones, optional = [silence], [True]
    for word in words:
        phones += [*word, silence]
        optional += [False] * len(word) + [True]
    if not words:
        return [silence], [False]
    return phones, optional


def numerator_arrays(
    lines: Sequence[tuple[list[int], list[bool]]], bigram: Bigram, states: int
) -> dict[str, np.ndarray]:
    """Padded arrays for ``objective``.

    phone int (B, S); step1, step2 float64 (B, S): weight of the arc into s from s-1 and from s-2;
    start float64 (B, S); final float64 (B, S).
    """
    n = len(lines)
    out = {"phone": np.zeros((n, states), np.int64)}
    for key in ("step1", "step2", "start", "final"):
        out[key] = np.zeros((n, states))
    for b, (phones, optional) in enumerate(lines):
        p, k = np.array(phones), len(phones)
        skip = np.array(optional)
        out["phone"][b, :k] = p
        out["step1"][b, 1:k] = bigram.arcs[p[:-1], p[1:]]
        out["step2"][b, 2:k] = bigram.arcs[p[:-2], p[2:]] * skip[1:-1]
        out["start"][b, 0] = bigram.start[p[0]]
        if k > 1 and skip[0]:
            out["start"][b, 1] = bigram.start[p[1]]
        out["final"][b, k - 1] = 1
        if k > 1 and skip[-1]:
            out["final"][b, k - 2] = 1
    return out


def _denominator(e: Tensor, live: Tensor, arcs: Tensor, start: Tensor) -> tuple[Tensor, Tensor]:
    """e (T, B, 2N) exp of scores, live (T, B, 1) bool. Returns log sum (B,), occupancy like e."""
    frames = e.shape[0]
    enter, stay = e[..., 0::2], e[..., 1::2]
    entered, stayed, scales = [start * enter[0]], [torch.zeros_like(enter[0])], []
    a = entered[0]
    scales.append(a.sum(1, keepdim=True))
    a = a / scales[0]
    for t in range(1, frames):
        x, y = (a @ arcs) * enter[t], a * stay[t]
        c = (x + y).sum(1, keepdim=True)
        a = torch.where(live[t], (x + y) / c, a)
        entered.append(x)
        stayed.append(y)
        scales.append(c)
    b = torch.ones_like(a)
    betas = [b]
    back = arcs.T.contiguous()
    for t in range(frames - 1, 0, -1):
        new = ((enter[t] * b) @ back + stay[t] * b) / scales[t]
        b = torch.where(live[t], new, b)
        betas.append(b)
    c = torch.stack(scales)
    weight = torch.stack(betas[::-1]) * live / c
    occupancy = torch.stack([torch.stack(entered) * weight, torch.stack(stayed) * weight], 3)
    log_sum = (c.log() * live).sum(0).squeeze(1)
    return log_sum, occupancy.flatten(2)


def _numerator(e: Tensor, live: Tensor, num: dict[str, Tensor]) -> tuple[Tensor, Tensor]:
    """As ``_denominator``; utterances that cannot be aligned get -inf and zeros."""
    frames = e.shape[0]
    index = num["phone"].expand(frames, -1, -1)
    enter, stay = e[..., 0::2].gather(2, index), e[..., 1::2].gather(2, index)
    step1, step2 = num["step1"], num["step2"]
    zero = torch.zeros_like(step1[:, :2])
    tiny = 1e-300
    x = num["start"] * enter[0]
    entered, stayed = [x], [torch.zeros_like(x)]
    scales = [x.sum(1, keepdim=True).clamp(min=tiny)]
    a = x / scales[0]
    for t in range(1, frames):
        pad = torch.cat([zero, a], 1)
        x = (pad[:, 1:-1] * step1 + pad[:, :-2] * step2) * enter[t]
        y = a * stay[t]
        c = (x + y).sum(1, keepdim=True).clamp(min=tiny)
        a = torch.where(live[t], (x + y) / c, a)
        entered.append(x)
        stayed.append(y)
        scales.append(c)
    end = (a * num["final"]).sum(1, keepdim=True)
    b = num["final"] / end.clamp(min=tiny)
    betas = [b]
    up1, up2 = torch.cat([step1, zero], 1), torch.cat([step2, zero], 1)
    for t in range(frames - 1, 0, -1):
        into = torch.cat([enter[t] * b, zero], 1)
        new = into[:, 1:-1] * up1[:, 1:-1] + into[:, 2:] * up2[:, 2:] + stay[t] * b
        b = torch.where(live[t], new / scales[t], b)
        betas.append(b)
    c = torch.stack(scales)
    weight = torch.stack(betas[::-1]) * live / c
    occupancy = torch.zeros_like(e)
    occupancy[..., 0::2].scatter_add_(2, index, torch.stack(entered) * weight)
    occupancy[..., 1::2].scatter_add_(2, index, torch.stack(stayed) * weight)
    log_sum = (c.log() * live).sum(0).squeeze(1) + end.squeeze(1).clamp(min=tiny).log()
    return log_sum, occupancy


@torch.no_grad()
def objective(
    scores: Tensor, lengths: Tensor, num: dict[str, Tensor], arcs: Tensor, start: Tensor
) -> tuple[Tensor, Tensor, Tensor]:
    """scores (B, T, 2N), lengths int (B,), arcs and start float64.

    Returns log numerator minus log denominator (B,), its gradient (B, T, 2N), and a mask (B,) of
    the utterances that could be aligned (the gradient of the others is zero).
    """
    s = scores.double().transpose(0, 1)
    frames = s.shape[0]
    live = (torch.arange(frames, device=s.device)[:, None] < lengths)[..., None]
    top = s.amax(2, keepdim=True)
    e = (s - top).exp()
    den, den_occ = _denominator(e, live, arcs, start)
    nume, num_occ = _numerator(e, live, num)
    value = nume - den
    good = torch.isfinite(value) & (value > -500) & (value < 1)
    grad = torch.where(good[None, :, None], num_occ - den_occ, torch.zeros_like(s))
    value = torch.where(good, value, torch.zeros_like(value))
    return value.float(), grad.transpose(0, 1).float(), good
