"""The acoustic network: a time-delay network of affine, batch norm and ReLU, 82 outputs.

Rules of this file. Input 40 MFCC at 100 frames a second, output every third frame. Batch norm
comes before the ReLU, so that it folds into the affine part at export and only affine + ReLU (and
a scaled sum with the layer below) remain. Edges repeat the first and last feature frame, as vosk
does. LAYERS is the only description of the shape; training, folding and export all read it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor, nn

PDFS = 82


@dataclass(frozen=True)
class Layer:
    """``offsets`` in 10 ms frames; ``residual``: scale of the layer below added after the ReLU."""

    offsets: tuple[int, ...]
    inputs: int
    outputs: int
    residual: float = 0.0


def layers(width: int = 512, dilations: tuple[int, ...] = (3, 3, 3, 6, 6, 6, 3)) -> list[Layer]:
    """Three layers at 100 frames a second, then at every third frame."""
    out = [
        Layer((-2, -1, 0, 1, 2), 40, width),
        Layer((-1, 0, 1), width, width),
        Layer((-1, 0, 1), width, width),
    ]
    out += [Layer((-d, 0, d), width, width, 0.66) for d in dilations]
    return out


def context(shape: list[Layer]) -> int:
    """Frames needed on each side of an output."""
    return sum(layer.offsets[-1] for layer in shape)


def padded(x: Tensor, shape: list[Layer]) -> Tensor:
    """Repeat the edge frames so that the outputs are at t = 0, 3, 6 ... (T + 2) // 3 of them."""
    frames = x.shape[1]
    outputs = (frames + 2) // 3
    side = context(shape)
    right = side + 3 * (outputs - 1) - (frames - 1)
    return torch.cat([x[:, :1].expand(-1, side, -1), x, x[:, -1:].expand(-1, right, -1)], 1)


class Network(nn.Module):
    """(B, T, 40) -> scores (B, (T+2)//3, 82) and the scores of the cross-entropy head."""

    def __init__(self, shape: list[Layer]) -> None:
        super().__init__()
        self.shape = shape
        self.convs = nn.ModuleList()
        self.norms = nn.ModuleList()
        for i, layer in enumerate(shape):
            step = layer.offsets[-1] - layer.offsets[-2]
            conv = nn.Conv1d(
                layer.inputs,
                layer.outputs,
                len(layer.offsets),
                stride=3 if i == 2 else 1,
                dilation=step if i < 3 else step // 3,
                bias=False,
            )
            nn.init.kaiming_normal_(conv.weight, nonlinearity="relu")
            self.convs.append(conv)
            self.norms.append(nn.BatchNorm1d(layer.outputs, momentum=0.02))
        self.output = nn.Conv1d(shape[-1].outputs, PDFS, 1)
        self.cross = nn.Conv1d(shape[-1].outputs, PDFS, 1)
        nn.init.zeros_(self.output.weight)
        nn.init.zeros_(self.output.bias)
        # MFCC have very unlike scales; the first norm is preceded by a fixed scale.
        self.register_buffer("mean", torch.zeros(40))
        self.register_buffer("scale", torch.ones(40))

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """See the class."""
        x = ((padded(x, self.shape) - self.mean) * self.scale).transpose(1, 2)
        for layer, conv, norm in zip(self.shape, self.convs, self.norms, strict=True):
            y = F.relu(norm(conv(x)))
            if layer.residual:
                crop = (x.shape[2] - y.shape[2]) // 2
                y = y + layer.residual * x[:, :, crop : x.shape[2] - crop]
            x = y
        return self.output(x).transpose(1, 2), self.cross(x).transpose(1, 2)


def write_weights(state: Mapping[str, Tensor], folder: Path, half: bool = False) -> None:
    """weights-a.npz and weights-b.npz; ``half``: matrices in half precision, the rest as it is."""
    arrays = {k: v.cpu().numpy() for k, v in state.items()}
    if half:
        arrays = {k: v.astype(np.float16) if v.ndim > 1 else v for k, v in arrays.items()}
    names = list(arrays)
    folder.mkdir(parents=True, exist_ok=True)
    for part, some in (("a", names[::2]), ("b", names[1::2])):
        np.savez_compressed(folder / f"weights-{part}.npz", **{k: arrays[k] for k in some})


def read_weights(folder: Path) -> dict[str, Tensor]:
    """State of a network from weights-a.npz and weights-b.npz, in single or half precision."""
    state = {}
    for part in "ab":
        with np.load(folder / f"weights-{part}.npz") as file:
            state.update({k: torch.tensor(file[k]) for k in file.files})
    return state


@torch.no_grad()
def fold(net: Network) -> tuple[list[dict], dict[str, np.ndarray]]:
    """Only affine and ReLU: (layer descriptions, weights).

    ``<name>.W`` float32 (outputs, inputs * offsets) over concat(x[t + o]), ``<name>.b`` (outputs,).
    """
    described, weights = [], {}
    mean, scale = net.mean.double(), net.scale.double()
    for i, (layer, conv, norm) in enumerate(zip(net.shape, net.convs, net.norms, strict=True)):
        gain = norm.weight.double() / torch.sqrt(norm.running_var.double() + norm.eps)
        w = conv.weight.double() * gain[:, None, None]  # (out, in, taps)
        b = norm.bias.double() - norm.running_mean.double() * gain
        if i == 0:
            w = w * scale[:, None]
            b = b - (w * mean[:, None]).sum((1, 2))
        name = f"tdnn{i + 1}"
        weights[f"{name}.W"] = w.permute(0, 2, 1).flatten(1).float().cpu().numpy()
        weights[f"{name}.b"] = b.float().cpu().numpy()
        described.append(
            {
                "name": name,
                "offsets": list(layer.offsets),
                "in": layer.inputs,
                "out": layer.outputs,
                "relu": True,
            }
        )
        if layer.residual:
            described[-1]["residual"] = {"from": f"tdnn{i}", "scale": layer.residual}
    weights["output.W"] = net.output.weight.detach()[:, :, 0].float().cpu().numpy()
    weights["output.b"] = net.output.bias.detach().float().cpu().numpy()
    described.append(
        {"name": "output", "offsets": [0], "in": net.shape[-1].outputs, "out": PDFS, "relu": False}
    )
    return described, weights


def run_folded(described: list[dict], weights: dict[str, np.ndarray], x: np.ndarray) -> np.ndarray:
    """The folded network in numpy, as Kaldi computes it: (T, 40) -> (outputs, 82)."""
    frames = len(x)
    outputs = (frames + 2) // 3
    side = sum(layer["offsets"][-1] for layer in described)
    at = np.arange(-side, 3 * (outputs - 1) + side + 1)
    values = {"input": (at, x[np.clip(at, 0, frames - 1)].astype(np.float64))}
    below = "input"
    for layer in described:
        t_in, v = values[below]
        wide = layer["offsets"][-1]
        t_out = np.arange(t_in[0] + wide, t_in[-1] - wide + 1)
        spliced = np.concatenate([v[t_out - t_in[0] + o] for o in layer["offsets"]], 1)
        y = (
            spliced @ weights[layer["name"] + ".W"].T.astype(np.float64)
            + weights[layer["name"] + ".b"]
        )
        if layer["relu"]:
            y = np.maximum(y, 0)
        if "residual" in layer:
            t0, v0 = values[layer["residual"]["from"]]
            y = y + layer["residual"]["scale"] * v0[t_out - t0[0]]
        values[layer["name"]] = (t_out, y)
        below = layer["name"]
    t_out, y = values[below]
    return y[np.flatnonzero(t_out == 0)[0] :: 3][:outputs]
