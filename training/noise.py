"""Made-up background noise and rooms for training, on the GPU.

Rules of this file. Every clip is synthetic: nothing recorded is read. The only speech in it is the
training speech itself (babble, talkers nearby, radio). Clips are float (n, samples) at 16 kHz with
an rms of 1. Kinds whose foreground is understandable talk are in TALK.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import torch
import torch.nn.functional as F
from torch import Tensor

RATE = 16000


class Maker:
    """Noise of all kinds; ``speech(n, samples)`` returns n rows of unbroken training speech."""

    def __init__(
        self, device: str, seed: int, speech: Callable[[int, int], Tensor] | None, seconds: int = 20
    ) -> None:
        self.g = torch.Generator(device=device).manual_seed(seed)
        self.device = device
        self.n = seconds * RATE
        self.speech = speech
        self.t = torch.arange(self.n, device=device, dtype=torch.float32) / RATE

    # -- pieces ---------------------------------------------------------------------------------
    def u(self, low: float, high: float, *shape: int) -> Tensor:
        """Uniform."""
        return torch.rand(shape, generator=self.g, device=self.device) * (high - low) + low

    def normal(self, *shape: int) -> Tensor:
        """Gaussian."""
        return torch.randn(shape, generator=self.g, device=self.device)

    def curve(self, count: int, sd: float, points: int = 10, bins: int | None = None) -> Tensor:
        """Random smooth gain over log frequency, (count, bins), linear."""
        bins = bins or self.n // 2 + 1
        f = torch.linspace(0, RATE / 2, bins, device=self.device).clamp(min=40)
        x = (f / 40).log2() / math.log2(200) * (points - 1)
        i = x.long().clamp(max=points - 2)
        db = self.normal(count, points) * sd
        return 10 ** ((db[:, i] * (1 - (x - i)) + db[:, i + 1] * (x - i)) / 20)

    def tilt(self, low: float, high: float, count: int) -> Tensor:
        """Gain of a slope in dB an octave drawn from low to high, (count, bins)."""
        f = torch.linspace(0, RATE / 2, self.n // 2 + 1, device=self.device).clamp(min=30)
        return 10 ** (self.u(low, high, count, 1) * (f / 500).log2() / 20)

    def band(self, low: Tensor, high: Tensor) -> Tensor:
        """Soft band-pass gain, low and high in Hz (count, 1)."""
        f = torch.linspace(1, RATE / 2, self.n // 2 + 1, device=self.device)
        return 1 / (1 + (low / f) ** 4).sqrt() / (1 + (f / high) ** 4).sqrt()

    def shaped(self, gain: Tensor) -> Tensor:
        """White noise with a spectrum, rms 1."""
        white = torch.fft.rfft(self.normal(gain.shape[0], self.n))
        return self.unit(torch.fft.irfft(white * gain, self.n))

    def filtered(self, x: Tensor, gain: Tensor) -> Tensor:
        """Apply a gain curve."""
        return torch.fft.irfft(torch.fft.rfft(x) * gain, self.n)

    @staticmethod
    def unit(x: Tensor) -> Tensor:
        """Scale to rms 1."""
        return x / x.square().mean(1, keepdim=True).sqrt().clamp(min=1e-6)

    def slow(self, count: int, rate: float, depth_db: float) -> Tensor:
        """Random smooth gain in time, ``rate`` points a second, (count, n)."""
        points = max(4, int(self.n / RATE * rate))
        db = self.normal(count, 1, points) * depth_db
        return 10 ** (F.interpolate(db, self.n, mode="linear", align_corners=True)[:, 0] / 20)

    def phase(self, f: Tensor) -> Tensor:
        """Phase in turns of a frequency track (count, n)."""
        return torch.cumsum(f.double() / RATE, 1).float() % 1.0

    def events(self, count: int, per_second: float, shape: Tensor) -> Tensor:
        """Place a pulse shape (count, k) at random times with random levels."""
        hits = (torch.rand(count, self.n, generator=self.g, device=self.device)
                < per_second / RATE).float()  # fmt: skip
        hits = hits * 10 ** (self.normal(count, self.n) * 6 / 20)
        size = self.n + shape.shape[1]
        return torch.fft.irfft(torch.fft.rfft(hits, size) * torch.fft.rfft(shape, size), size)[
            :, : self.n
        ]

    def ring(
        self,
        count: int,
        seconds: float,
        low: float,
        high: float,
        modes: int,
        decay: tuple[float, float],
    ) -> Tensor:
        """Decaying inharmonic modes: something struck, (count, k)."""
        t = torch.arange(int(seconds * RATE), device=self.device) / RATE
        out = torch.zeros(count, len(t), device=self.device)
        for _ in range(modes):
            f = low * (high / low) ** self.u(0, 1, count, 1)
            d = decay[0] * (decay[1] / decay[0]) ** self.u(0, 1, count, 1)
            out += (
                self.u(0.1, 1, count, 1)
                * torch.exp(-t / d)
                * torch.sin(2 * math.pi * f * t + self.u(0, 6.28, count, 1))
            )
        burst = self.normal(count, len(t)) * torch.exp(-t / self.u(0.002, 0.02, count, 1))
        return out + burst * self.u(0, 1.5, count, 1)

    # -- kinds ----------------------------------------------------------------------------------
    def engine(self, k: int, low: float, high: float, rough: float, noise: float) -> Tensor:
        """Harmonics of a wandering firing rate plus broad noise that pulses with it."""
        f = low * (high / low) ** self.u(0, 1, k, 1)
        f = f * self.slow(k, 1.0, float(self.u(0.05, 0.8, 1))) * self.slow(k, 12, 0.08)
        turn = self.phase(f)
        out = torch.zeros(k, self.n, device=self.device)
        slope = self.u(0.3, 1.3, k, 1)
        for h in range(1, 40):
            level = h**-slope * 10 ** (self.normal(k, 1) * rough / 20)
            out += level * (f * h < 7500) * torch.sin(2 * math.pi * (turn * h + self.u(0, 1, k, 1)))
        pulses = torch.exp(-((turn * 2 - 1).abs()) * self.u(1, 6, k, 1))
        hiss = self.shaped(self.tilt(-5, 0, k) * self.curve(k, 5)) * pulses
        mixed = self.unit(out) + self.unit(hiss) * noise * self.u(0.3, 1.5, k, 1)
        return self.filtered(mixed, self.curve(k, 5) * self.tilt(-3, 1, k))

    def diesel(self, k: int) -> Tensor:
        """Diesel at idle or revving."""
        return self.engine(k, 8, 42, 8, 1.0)

    def motor(self, k: int) -> Tensor:
        """Small engines, saws, grinders: fast firing, rough, bright."""
        return self.engine(k, 50, 260, 8, 1.3) * self.slow(k, 1.5, 4)

    def machine(self, k: int) -> Tensor:
        """Fans, pumps, whine: steady tones over broad noise."""
        out = self.shaped(self.tilt(-6, 1, k) * self.curve(k, 6))
        for _ in range(6):
            f = 60 * 60 ** self.u(0, 1, k, 1) * self.slow(k, 0.5, 0.2)
            out += self.u(0, 0.5, k, 1) * torch.sin(2 * math.pi * self.phase(f))
        rate = self.u(0.5, 25, k, 1)
        return out * (1 + self.u(0, 0.9, k, 1) * torch.sin(2 * math.pi * rate * self.t))

    def wind(self, k: int) -> Tensor:
        """Wind at a microphone: low rumble in gusts, turbulence."""
        rumble = self.shaped(self.tilt(-9, -4, k)) * self.slow(k, 1.2, 8) * self.slow(k, 8, 3)
        return rumble + self.u(0, 0.4, k, 1) * self.shaped(self.tilt(-3, 0, k)) * self.slow(k, 2, 6)

    def rain(self, k: int) -> Tensor:
        """Hiss and drops on metal."""
        drop = self.ring(k, 0.06, 600, 6000, 3, (0.002, 0.012))
        drops = self.unit(self.events(k, float(self.u(20, 300, 1)), drop))
        return drops + self.u(0.1, 2, k, 1) * self.shaped(self.tilt(-2, 2, k)) * self.slow(
            k, 0.5, 2
        )

    def coloured(self, k: int) -> Tensor:
        """Any spectrum, any modulation in time."""
        x = self.shaped(self.curve(k, 10) * self.tilt(-6, 2, k))
        y = self.shaped(self.curve(k, 10) * self.tilt(-6, 2, k))
        return x * self.slow(k, float(self.u(0.5, 6, 1)), 7) + y * self.slow(
            k, float(self.u(0.5, 12, 1)), 7
        )

    def pulsing(self, k: int) -> Tensor:
        """Coloured noise switched at syllable and machine rates."""
        rate = 1.0 * 25 ** self.u(0, 1, k, 1)
        turn = self.phase(rate * self.slow(k, 2, 1.0))
        duty, edge = self.u(0.15, 0.8, k, 1), self.u(3, 40, k, 1)
        gate = torch.sigmoid((duty - turn) * edge) * torch.sigmoid(turn * 50)
        x = self.shaped(self.curve(k, 8) * self.tilt(-5, 1, k))
        return x * (gate + self.u(0.0, 0.15, k, 1))

    def hiss(self, k: int) -> Tensor:
        """Steady hiss, water, steam."""
        return self.shaped(self.tilt(-1, 3, k) * self.curve(k, 4)) * self.slow(k, 3, 1.5)

    def air(self, k: int) -> Tensor:
        """Air brakes let go: bright bursts that die away."""
        t = torch.arange(RATE, device=self.device) / RATE
        shape = self.normal(k, RATE) * torch.exp(-t / self.u(0.03, 0.35, k, 1))
        shape = shape * (1 - torch.exp(-t / self.u(0.002, 0.03, k, 1)))
        x = self.filtered(self.events(k, 0.6, shape), self.tilt(0, 4, k) * self.curve(k, 4))
        return self.unit(x) + 0.05 * self.normal(k, self.n)

    def beeper(self, k: int) -> Tensor:
        """Reversing beeper, alarms, horns: tones in a rhythm or held."""
        f = 250 * 12 ** self.u(0, 1, k, 1)
        period, duty = self.u(0.25, 2.5, k, 1), self.u(0.2, 0.95, k, 1)
        gate = torch.sigmoid(((self.t / period) % 1 < duty).float() * 20 - 10)
        gate = F.avg_pool1d(gate[:, None], 161, 1, 80)[:, 0]
        other = 1.0 + self.u(0.1, 0.8, k, 1) * (self.u(0, 1, k, 1) < 0.5)
        glide = 1 + self.u(0, 0.4, k, 1) * torch.sin(2 * math.pi * self.u(0.1, 3, k, 1) * self.t)
        glide = torch.where(self.u(0, 1, k, 1) < 0.3, glide, torch.ones_like(glide))
        turn = self.phase(f * glide)
        x = torch.zeros(k, self.n, device=self.device)
        for h in range(1, 9):
            level = self.u(0, 1, k, 1) / h
            x += level * torch.sin(2 * math.pi * turn * h) * (f * h < 7800)
            x += level * torch.sin(2 * math.pi * turn * h * other) * (f * h * other < 7800) * 0.7
        return self.unit(x * gate) + 0.05 * self.shaped(self.tilt(-6, 0, k))

    def hum(self, k: int) -> Tensor:
        """Mains or alternator hum with harmonics."""
        x = torch.zeros(k, self.n, device=self.device)
        f = 50 * 14 ** self.u(0, 1, k, 1)
        for h in range(1, 20):
            x += (
                (f * h < 7800)
                * self.u(0, 1, k, 1)
                / h ** self.u(0.3, 1.5, k, 1)
                * torch.sin(2 * math.pi * (f * h * self.t + self.u(0, 1, k, 1)))
            )
        return self.unit(x) + self.u(0, 0.5, k, 1) * self.shaped(self.tilt(-4, 1, k))

    def clanks(self, k: int) -> Tensor:
        """Metal on metal, doors, tools, bells."""
        out = torch.zeros(k, self.n, device=self.device)
        for _ in range(3):
            shape = self.ring(k, 1.0, 150, 6500, int(self.u(3, 12, 1)), (0.01, 0.4))
            out += self.unit(self.events(k, float(self.u(0.3, 3, 1)), shape)) * self.u(0.2, 1, k, 1)
        return out + 0.03 * self.normal(k, self.n)

    def thumps(self, k: int) -> Tensor:
        """Steps, knocks, handling of the headset."""
        shape = self.ring(k, 0.3, 40, 500, 3, (0.01, 0.08))
        out = self.unit(self.events(k, float(self.u(0.7, 4, 1)), shape))
        crackle = self.events(k, 30, self.normal(k, 40))
        return out + self.unit(crackle) * self.u(0, 0.5, k, 1) * self.slow(k, 2, 8)

    def road(self, k: int) -> Tensor:
        """Passing vehicles: tyre noise that swells and moves in pitch."""
        x = self.shaped(
            self.tilt(-6, -1, k) * self.band(self.u(40, 200, k, 1), self.u(800, 4000, k, 1))
        )
        swell = torch.zeros(k, self.n, device=self.device)
        for _ in range(5):
            centre, width = self.u(0, self.n / RATE, k, 1), self.u(0.4, 3, k, 1)
            swell += self.u(0.2, 1, k, 1) * torch.exp(-((self.t - centre) / width).square())
        return x * (swell + 0.1) + 0.1 * self.diesel(k)

    def rumble(self, k: int) -> Tensor:
        """Thunder, trains, heavy low noise in swells."""
        x = self.shaped(self.tilt(-8, -3, k) * self.curve(k, 4))
        rattle = self.pulsing(k)
        return x * self.slow(k, 1.5, 9) + self.u(0, 0.6, k, 1) * self.unit(rattle)

    def tones(self, k: int) -> Tensor:
        """Music-like chords and melodies."""
        x = torch.zeros(k, self.n, device=self.device)
        for _ in range(4):
            steps = int(self.u(20, 90, 1))
            notes = 110 * 2 ** (
                torch.randint(0, 36, (k, 1, steps), generator=self.g, device=self.device) / 12
            )
            f = F.interpolate(notes, self.n, mode="nearest")[:, 0]
            turn = self.phase(f)
            for h in range(1, 6):
                x += self.u(0, 1, k, 1) / h * torch.sin(2 * math.pi * turn * h)
        return x * self.slow(k, 4, 4)

    def talk(self, k: int, talkers: int) -> Tensor:
        """So many people, each at a level and in a colour of their own."""
        assert self.speech is not None
        out = torch.zeros(k, self.n, device=self.device)
        for _ in range(talkers):
            x = self.unit(self.speech(k, self.n)) * 10 ** (self.normal(k, 1) * 4 / 20)
            out += self.filtered(x, self.curve(k, 5) * self.tilt(-3, 0, k))
        return out

    def talker(self, k: int) -> Tensor:
        """One or two people talking nearby."""
        return self.talk(k, int(self.u(1, 3, 1)))

    def babble(self, k: int) -> Tensor:
        """Three to nine people."""
        return self.echoing(self.talk(k, int(self.u(3, 10, 1))))

    def crowd(self, k: int) -> Tensor:
        """Many people, far away."""
        return self.echoing(self.talk(k, int(self.u(12, 28, 1)))) + 0.2 * self.shaped(
            self.tilt(-5, 0, k)
        )

    def radio(self, k: int) -> Tensor:
        """Speech through a small loudspeaker with hiss and clicks."""
        gain = self.band(self.u(250, 500, k, 1), self.u(2200, 3800, k, 1))
        x = torch.tanh(self.unit(self.filtered(self.talk(k, 1), gain)) * 2)
        return x + 0.2 * self.shaped(gain)

    def backwards(self, k: int) -> Tensor:
        """Speech played backwards: sounds like a voice, says nothing."""
        return self.talk(k, int(self.u(1, 4, 1))).flip(1)

    def murmur(self, k: int) -> Tensor:
        """Noise with the spectrum and envelope of speech."""
        x = self.talk(k, int(self.u(1, 4, 1)))
        envelope = F.avg_pool1d(x.abs()[:, None], 321, 1, 160)[:, 0]
        spectrum = torch.fft.rfft(x).abs()
        spectrum = F.avg_pool1d(spectrum[:, None], 2001, 1, 1000)[:, 0]
        return self.shaped(spectrum) * envelope

    def echoing(self, x: Tensor) -> Tensor:
        """Smear with a decaying room."""
        t = torch.arange(8000, device=self.device) / RATE
        room = self.normal(x.shape[0], 8000) * torch.exp(-t / self.u(0.02, 0.15, x.shape[0], 1))
        room[:, 0] += 3
        size = self.n + 8000
        y = torch.fft.irfft(torch.fft.rfft(x, size) * torch.fft.rfft(room, size), size)
        return y[:, : self.n]

    KINDS = (
        ("diesel", 3), ("motor", 3), ("machine", 3), ("wind", 4), ("rain", 3), ("coloured", 5),
        ("pulsing", 4), ("hiss", 2), ("air", 2), ("beeper", 3), ("hum", 1), ("clanks", 4),
        ("thumps", 2), ("road", 3), ("rumble", 2), ("tones", 2), ("talker", 5), ("babble", 5),
        ("crowd", 4), ("radio", 2), ("backwards", 2), ("murmur", 3),
    )  # fmt: skip
    NEED_SPEECH = frozenset({"talker", "babble", "crowd", "radio", "backwards", "murmur"})
    TALK = frozenset({"talker", "radio"})

    def bank(self, each: int) -> tuple[Tensor, list[str]]:
        """``each`` clips per unit of weight, a third of them sums of two: half (n, samples)."""
        clips, names = [], []
        for name, weight in self.KINDS:
            if name in self.NEED_SPEECH and self.speech is None:
                continue
            for _ in range(weight):
                x = self.unit(getattr(self, name)(each))
                clips.append(torch.nan_to_num(x).clamp(-30, 30).half())
                names += [name] * each
        bank = torch.cat(clips)
        order = torch.randperm(len(bank), generator=self.g, device=self.device)
        for i in order[: len(bank) // 3].tolist():
            if names[i] in self.TALK:
                continue
            j = int(self.u(0, len(bank), 1))
            if names[j] in self.TALK:
                continue
            mixed = bank[i].float() + bank[j].float() * float(10 ** (self.u(-12, 6, 1) / 20))
            bank[i] = (mixed / mixed.square().mean().sqrt()).clamp(-30, 30).half()
        return bank, names


def rooms(device: str, seed: int, count: int = 500, size: int = 8000) -> Tensor:
    """Impulse responses (count, size), direct sound at 0: early echoes, then decaying noise."""
    g = torch.Generator(device=device).manual_seed(seed)
    t = torch.arange(size, device=device) / RATE
    u = torch.rand(count, 8, generator=g, device=device)
    rt60 = 0.05 * (0.65 / 0.05) ** u[:, :1]
    tail = torch.randn(count, size, generator=g, device=device) * torch.exp(-6.9 * t / rt60)
    # The tail starts after the first echoes and loses its highs.
    tail = tail * (t > 0.002 + 0.01 * u[:, 1:2])
    spectrum = torch.fft.rfft(tail)
    f = torch.linspace(0, 1, spectrum.shape[1], device=device)
    tail = torch.fft.irfft(spectrum / (1 + (f / (0.15 + 0.6 * u[:, 2:3])) ** 2), size)
    tail = tail / tail.square().sum(1, keepdim=True).sqrt().clamp(min=1e-6)
    ratio = 10 ** ((u[:, 3:4] * 24 - 6) / 20)  # direct to reverberant, -6 to 18 dB
    out = tail / ratio
    for k in range(6):
        at = (1 + torch.rand(count, generator=g, device=device) * (60 + 40 * k) * 4).long()
        level = torch.randn(count, generator=g, device=device) * 0.35 * (u[:, 4] + 0.1)
        out.scatter_add_(1, at[:, None], level[:, None])
    out[:, 0] += 1
    return out
