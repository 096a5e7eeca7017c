"""MFCC as vosk computes them (Kaldi, 40 coefficients, 16 kHz), in torch and in batches.

Rules of this file. Sample scale is that of int16. Frames of 25 ms every 10 ms, edges snipped, no
dither, no energy, pre-emphasis 0.97, Povey window, 512-point FFT, 40 mel bins from 20 Hz to 7600
Hz, cepstral lifter 22. Checked against kaldi-native-fbank in tests/training/test_features.py.
"""

from __future__ import annotations

import math

import numpy as np
import torch
from torch import Tensor

RATE, WINDOW, SHIFT, FFT, BINS = 16000, 400, 160, 512, 40
LOW, HIGH = 20.0, 7600.0
BENDS = (300.0, 900.0, 1800.0, 3000.0, 7000.0)


def frames(samples: int) -> int:
    """Number of feature frames of a signal."""
    return 0 if samples < WINDOW else 1 + (samples - WINDOW) // SHIFT


def mel(f: float | np.ndarray) -> np.ndarray:
    """Hz to mel."""
    return 1127.0 * np.log1p(np.asarray(f) / 700.0)


def warp(f: np.ndarray, factor: float) -> np.ndarray:
    """Vocal tract length warp: frequency axis scaled by ``factor`` up to a knee, then to 8 kHz."""
    knee = 6000.0 * min(1.0, 1.0 / factor)
    slope = (8000.0 - factor * knee) / (8000.0 - knee)
    return np.where(f < knee, f * factor, factor * knee + (f - knee) * slope)


def mel_bank(factor: float = 1.0, bend: np.ndarray | None = None) -> np.ndarray:
    """Triangular filters (257, 40) that hear another voice than the one that speaks.

    ``factor`` warps the whole axis; ``bend`` (5,) log factors at BENDS Hz move its parts.
    """
    centres = np.linspace(mel(LOW), mel(HIGH), BINS + 2)
    axis = warp(np.arange(FFT // 2 + 1) * RATE / FFT, factor)
    if bend is not None:
        axis = axis * np.exp(np.interp(axis, BENDS, bend))
    grid = mel(np.clip(axis, 0, None))
    left, mid, right = (centres[k : k + BINS][None] for k in (0, 1, 2))
    up, down = (grid[:, None] - left) / (mid - left), (right - grid[:, None]) / (right - mid)
    bank = np.clip(np.minimum(up, down), 0, None)
    bank[-1] = 0  # Kaldi leaves the bin at half the rate out
    return bank.astype(np.float32)


def dct() -> np.ndarray:
    """Orthonormal DCT with the lifter folded in, (40, 40): cepstra = log mel @ matrix."""
    n = np.arange(BINS)
    matrix = np.cos(math.pi / BINS * (n[:, None] + 0.5) * n[None]) * math.sqrt(2 / BINS)
    matrix[:, 0] = math.sqrt(1 / BINS)
    return (matrix * (1 + 11 * np.sin(math.pi * n / 22))[None]).astype(np.float32)


class Mfcc:
    """Call with int16-scale samples (B, n); ``choice`` (B,) picks one of the banks."""

    def __init__(
        self,
        device: str = "cpu",
        warps: tuple[float, ...] = (1.0,),
        bends: tuple[np.ndarray | None, ...] = (None,),
    ) -> None:
        t = torch.arange(WINDOW, dtype=torch.float64)
        window = (0.5 - 0.5 * torch.cos(2 * math.pi * t / (WINDOW - 1))) ** 0.85
        self.window = window.float().to(device)
        banks = np.stack([mel_bank(w, b) for w in warps for b in bends])
        self.banks = torch.tensor(banks, device=device)
        self.dct = torch.tensor(dct(), device=device)

    def log_mel(self, x: Tensor, choice: Tensor | None = None) -> Tensor:
        """(B, n) -> (B, T, 40)."""
        y = x.unfold(1, WINDOW, SHIFT)
        y = y - y.mean(2, keepdim=True)
        y = torch.cat([y[..., :1] * 0.03, y[..., 1:] - 0.97 * y[..., :-1]], 2)
        power = torch.fft.rfft(y * self.window, FFT).abs().square()
        bank = self.banks[0] if choice is None else self.banks[choice]
        return torch.log(torch.clamp(power @ bank, min=1.1920929e-07))

    def __call__(self, x: Tensor, choice: Tensor | None = None) -> Tensor:
        return self.log_mel(x, choice) @ self.dct
