"""From stored speech to feature batches: speed, rooms, noise, bands, level, faults, MFCC.

Rules of this file. Everything random is drawn fresh for every batch, on the GPU, from one seeded
generator. The direct sound stays where it was, so the synthesis alignment stays true. Samples are
floats with the scale of int16. B utterances of L samples, T feature frames.
"""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from training.features import RATE, Mfcc
from training.noise import Maker

WARPS = tuple(0.86 + 0.02 * i for i in range(16))
BENDS = (None, *np.random.default_rng(11).normal(size=(7, 5)) * 0.04)


class Augment:
    """Call with a batch of cleanly placed speech."""

    def __init__(
        self, device: str, seed: int, bank: Tensor, rooms: Tensor, hard: float = 1.0,
        without: Collection[str] = (),
    ) -> None:  # fmt: skip
        """bank half (n, samples) of noise; hard 0..1: how loud, how sudden the background is.

        without: "noise": no background; "shifts": the speed and vocal tract stay.
        """
        self.device, self.bank, self.rooms, self.hard = device, bank, rooms, hard
        self.background, self.shifted = "noise" not in without, "shifts" not in without
        self.g = torch.Generator(device=device).manual_seed(seed)
        self.mfcc = Mfcc(device, *((WARPS, BENDS) if self.shifted else ((1.0,), (None,))))
        self.maker = Maker(device, seed + 1, None, 1)

    def u(self, low: float, high: float, *shape: int) -> Tensor:
        """Uniform."""
        return torch.rand(shape, generator=self.g, device=self.device) * (high - low) + low

    def chance(self, p: float, count: int) -> Tensor:
        """True with probability p, (count, 1)."""
        return torch.rand(count, 1, generator=self.g, device=self.device) < p

    def place(
        self, pcm: Tensor, start: Tensor, length: Tensor, size: int, keep: Tensor
    ) -> tuple[Tensor, Tensor, Tensor]:
        """Read speech at a random speed into (B, size); returns speech, first sample, speed (B, 1).

        Cubic interpolation; utterances are shorter than ``size`` at their speed. keep (B, 2): the
        part of each utterance that is heard, in its own samples.
        """
        n = len(start)
        speed = 0.8 + self.u(0, 0.45, n, 1)
        same = self.chance(0.33, n) | (not self.shifted)
        speed = torch.where(same, torch.ones_like(speed), speed)
        length = length[:, None].float()
        speed = torch.maximum(speed, length / (size - 200))
        room = (size - length / speed).clamp(min=0)
        # The edge before the word is often short: push-to-talk and the detector cut close.
        first = room * self.u(0, 1, n, 1) ** 1.3
        x = (torch.arange(size, device=self.device) - first) * speed
        inside = (x >= keep[:, :1].clamp(min=1)) & (x < torch.minimum(keep[:, 1:], length - 3))
        whole = x.floor().clamp(min=1)
        frac = x - whole
        index = torch.where(inside, whole, torch.ones_like(whole)).long() + start[:, None]
        a, b, c, d = (pcm[index + k].float() for k in (-1, 0, 1, 2))
        y = b + 0.5 * frac * (
            c - a + frac * (2 * a - 5 * b + 4 * c - d + frac * (3 * (b - c) + d - a))
        )
        return torch.where(inside, y, torch.zeros_like(y)), first, speed

    def gain(self, count: int, size: int) -> Tensor:
        """Microphone curve and band limits on the rfft grid of ``size`` samples."""
        bins = size // 2 + 1
        f = torch.linspace(1, RATE / 2, bins, device=self.device)
        curve = self.maker.curve(count, 1.0, 10, bins).log10() * 20 * self.u(2, 6, count, 1)
        out = torch.where(self.chance(0.8, count), 10 ** (curve / 20), torch.ones_like(curve))

        def some(p: float, low: float, high: float, off: float) -> Tensor:
            cut = low * (high / low) ** self.u(0, 1, count, 1)
            return torch.where(self.chance(p, count), cut, torch.full_like(cut, off))

        order = 2 * torch.randint(1, 5, (count, 1), generator=self.g, device=self.device)
        out = out / (1 + (some(0.6, 20, 350, 1e-3) / f) ** order).sqrt()
        out = out / (1 + (f / some(0.3, 3200, 7800, 1e6)) ** (2 * order)).sqrt()
        phone = self.chance(0.18, count)
        telephone = 1 / (1 + (300 / f) ** 8).sqrt() / (1 + (f / 3400) ** 30).sqrt()
        return torch.where(phone, out * telephone, out)

    def __call__(
        self,
        pcm: Tensor,
        start: Tensor,
        length: Tensor,
        size: int,
        silent: Tensor,
        keep: Tensor,
        spoken: Tensor,
        clean: float = 0.1,
    ) -> tuple[Tensor, Tensor, Tensor]:
        """silent bool (B,): noise only; keep as in ``place``; spoken (B, 2): first and last sample
        of the words. Returns MFCC (B, T, 40), first sample and speed (B, 1).
        """
        n = len(start)
        x, first, speed = self.place(pcm, start, length, size, keep)
        rms = (x.square().sum(1, keepdim=True) / (length[:, None] / speed)).sqrt().clamp(min=1)
        x = x / rms
        # Bandwidth of the source, before any room or noise.
        f = torch.linspace(0, RATE / 2, size // 2 + 1, device=self.device)
        spectrum = torch.fft.rfft(x)
        never = torch.full((n, 1), 1e6, device=self.device)
        narrow = torch.where(self.chance(0.3, n), self.u(2600, 6000, n, 1), never)
        # Effort of the voice, and cloth before the mouth.
        colour = 10 ** (self.u(-5, 5, n, 1) * (f.clamp(min=60) / 1000).log2() / 20)
        cloth = torch.where(self.chance(0.12, n), self.u(600, 2500, n, 1), never)
        colour = colour / (1 + (f / cloth) ** 2)
        x = torch.fft.irfft(spectrum * colour / (1 + (f / narrow) ** 16), size)
        # Shouting and breathing lift some parts of an utterance over others.
        wave = F.interpolate(
            torch.randn(n, 1, max(3, size // 6400), generator=self.g, device=self.device) * 3,
            size, mode="linear", align_corners=True,
        )[:, 0]  # fmt: skip
        x = torch.where(self.chance(0.5, n), x * 10 ** (wave / 20), x)
        room = self.rooms[
            torch.randint(0, len(self.rooms), (n,), generator=self.g, device=self.device)
        ]
        padded = size + room.shape[1]
        wet = torch.fft.irfft(torch.fft.rfft(x, padded) * torch.fft.rfft(room, padded), padded)[
            :, :size
        ]
        x = torch.where(self.chance(0.55, n), wet, x)
        x = x / (x.square().sum(1, keepdim=True) / (length[:, None] / speed)).sqrt().clamp(min=1e-3)
        x = x * ~silent[:, None]
        # Background: one clip from the bank, sometimes a second, sometimes a neighbour's voice.
        hard = self.hard
        quiet = self.u(12, 45, n, 1)
        loud = self.u(-4 - 3 * hard, 26 - 6 * hard, n, 1)
        snr = torch.where(self.chance(0.72 + 0.04 * hard, n), loud, quiet)
        none = self.chance(clean, n) | (not self.background)
        snr = torch.where(none, torch.full_like(snr, 60.0), snr)
        noise = self.clips(n, size)
        second = self.clips(n, size) * 10 ** (self.u(-15, 6, n, 1) / 20)
        noise = noise + torch.where(self.chance(0.3, n), second, torch.zeros_like(second))
        move = F.interpolate(
            torch.randn(n, 1, max(3, size // 4800), generator=self.g, device=self.device)
            * self.u(0, 8, n, 1)[:, None],
            size, mode="linear", align_corners=True,
        )[:, 0]  # fmt: skip
        noise = torch.where(self.chance(0.4, n), noise * 10 ** (move / 20), noise)
        noise = noise / noise.square().mean(1, keepdim=True).sqrt().clamp(min=1e-3)
        x = x + noise * 10 ** (-snr / 20)
        other = x.roll(1, 0) * ~silent.roll(1, 0)[:, None]
        other = other * 10 ** (-self.u(5, 24, n, 1) / 20)
        near = self.chance((0.08 + 0.06 * hard) * self.background, n) & ~silent[:, None]
        x = x + torch.where(near, other, torch.zeros_like(other))
        x = x + self.sudden(n, size) * self.chance(0.3 * hard * self.background, n)
        x = self.gated(x, first + spoken / speed)
        x = torch.fft.irfft(torch.fft.rfft(x) * self.gain(n, size), size)
        x = self.level(x)
        x = self.faults(x, silent)
        choice = torch.randint(0, len(self.mfcc.banks), (n,), generator=self.g, device=self.device)
        mel = self.mfcc.log_mel(x, choice)
        return self.masked(mel) @ self.mfcc.dct, first, speed

    def sudden(self, count: int, size: int) -> Tensor:
        """A short sound somewhere: 30 ms at up to 8 dB over the speech, 0.5 s at up to -4 dB."""
        t = torch.arange(size, device=self.device) / RATE
        length = 0.03 * 17 ** self.u(0, 1, count, 1)
        since = t - self.u(0, size / RATE, count, 1)
        shape = torch.exp(-(since / length).clamp(min=0)) * torch.sigmoid(since * 2000)
        level = self.u(-14, 8, count, 1) - 10 * (length / 0.03).log10()
        return self.clips(count, size) * shape * 10 ** (level / 20)

    def gated(self, x: Tensor, edges: Tensor) -> Tensor:
        """Nothing (or little) outside the words and some margin, for 15 rows in a hundred.

        A push-to-talk switch or a detector cuts so, background and all. Up to 25 ms of the first
        and the last phone are lost.
        """
        n, size = x.shape
        t = torch.arange(size, device=self.device)
        margin = self.u(-0.025, 0.35, n, 2) * RATE
        low, high = edges[:, :1] - margin[:, :1], edges[:, 1:] + margin[:, 1:]
        inside = torch.sigmoid((t - low) / 16) * torch.sigmoid((high - t) / 16)
        floor = 10 ** (-self.u(20, 80, n, 1) / 20)
        return torch.where(self.chance(0.15, n), x * (floor + (1 - floor) * inside), x)

    def clips(self, count: int, size: int) -> Tensor:
        """Random stretches of the noise bank, rms about 1."""
        which = torch.randint(0, len(self.bank), (count, 1), generator=self.g, device=self.device)
        at = torch.randint(0, self.bank.shape[1], (count, 1), generator=self.g, device=self.device)
        index = (at + torch.arange(size, device=self.device)) % self.bank.shape[1]
        return self.bank[which, index].float()

    def level(self, x: Tensor) -> Tensor:
        """Peak 0 to -38 dBFS, clipping, mu-law, converter noise, whole numbers."""
        n = len(x)
        peak = x.abs().amax(1, keepdim=True).clamp(min=1e-6)
        db = -38 * self.u(0, 1, n, 1) ** 1.5
        db = torch.where(self.chance(0.05, n), self.u(3, 14, n, 1), db)
        x = x / peak * 32767 * 10 ** (db / 20)
        x = x.clamp(-32768, 32767)
        law = torch.log1p(255 * x.abs() / 32768) / math.log(256)
        law = torch.expm1((law * 127).round() / 127 * math.log(256)) / 255 * 32768 * x.sign()
        x = torch.where(self.chance(0.06, n), law, x)
        floor = torch.randn(x.shape, generator=self.g, device=self.device) * self.u(0.3, 8, n, 1)
        x = x + torch.where(self.chance(0.5, n), floor, torch.zeros_like(floor))
        return x.round().clamp(-32768, 32767)

    def faults(self, x: Tensor, silent: Tensor) -> Tensor:
        """Lost packets; zeros, a constant or a tone at an edge, or instead of noise alone."""
        n, size = x.shape
        t = torch.arange(size, device=self.device)
        packet = torch.randint(160, 480, (n, 1), generator=self.g, device=self.device)
        lost = self.u(0.01, 0.08, n, 1)
        table = torch.rand(n, size // 160 + 2, generator=self.g, device=self.device) < lost
        drop = table.gather(1, (t[None] // packet)) & self.chance(0.05, n)
        x = torch.where(drop, torch.zeros_like(x), x)
        edge = self.u(0, 0.25, n, 1) * size
        at_end = self.chance(0.5, n)
        where = torch.where(at_end, (size - t)[None] < edge, t[None] < edge) & self.chance(0.05, n)
        where = where | (silent[:, None] & self.chance(0.15, n))
        value = self.u(-3000, 3000, n, 1) * self.chance(0.4, n)
        value = value + self.chance(0.3, n) * 3000 * torch.sin(t * self.u(0.02, 2.5, n, 1))
        return torch.where(where, value.round(), x)

    def masked(self, mel: Tensor) -> Tensor:
        """Two masks in time and two in frequency for four batch rows in ten."""
        n, frames, bins = mel.shape
        some = self.chance(0.4, n)[..., None]
        mean = mel.mean(1, keepdim=True)
        for axis, length, widest in ((1, frames, 10), (1, frames, 10), (2, bins, 6), (2, bins, 6)):
            width = self.u(0, widest, n, 1)
            at = self.u(0, 1, n, 1) * (length - width)
            k = torch.arange(length, device=self.device)
            hit = (k >= at) & (k < at + width)
            hit = hit[:, :, None] if axis == 1 else hit[:, None, :]
            mel = torch.where(hit & some, mean.expand_as(mel), mel)
        return mel


def all_zero_features(count: int, frames: int, mfcc: Mfcc) -> Tensor:
    """MFCC of digital silence (count, frames, 40)."""
    x = torch.zeros(1, 400 + 160 * (frames - 1), device=mfcc.dct.device)
    return mfcc(x).expand(count, -1, -1)
