"""Kokoro in torch, in batches, for a GPU: the same network that kokoro.py runs one text at a time.

Rules of this file. The weights come out of the int8 ONNX graph (dequantised; activations stay
floating point here). Nothing is padded: texts are grouped by their exact number of tokens for the
first half of the network and by their exact number of frames for the second half, so that the
instance norms need no mask. Shapes: B texts, T tokens, F frames of 25 ms.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

STEP = 600  # samples at 24 kHz per frame
BERT = "/encoder/bert/encoder/albert_layer_groups.0/albert_layers.0"


@dataclass(frozen=True)
class Text:
    """One call: what is said, by whom, how.

    ids: token ids without pads; style (256,); speed and pitch: factors, pitch 0 whispers;
    stretch: standard deviation of the log of each token's duration about the predicted one;
    lively: factor on the distance of the pitch from its mean, in log Hz.
    """

    ids: Sequence[int]
    style: np.ndarray
    speed: float = 1.0
    pitch: float = 1.0
    stretch: float = 0.0
    lively: float = 1.0


def read_weights(path: Path) -> dict[str, np.ndarray]:
    """Dequantised weights by ONNX node or initialiser name."""
    import onnx
    from onnx import numpy_helper

    graph = onnx.load(str(path)).graph
    init = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    out: dict[str, np.ndarray] = {
        k: v for k, v in init.items() if v.dtype == np.float32 and not k.endswith("_scale")
    }

    def dequantised(name: str, zero: str) -> np.ndarray:
        scale = init[name.replace("_quantized", "_scale")].astype(np.float32)
        return (init[name].astype(np.float32) - init[zero].astype(np.float32)) * scale

    for node in graph.node:
        if node.op_type in ("MatMulInteger", "ConvInteger") and node.input[1] in init:
            out[node.name] = dequantised(node.input[1], node.input[3])
        elif node.op_type in ("Conv", "ConvTranspose", "MatMul") and node.input[1] in init:
            out[node.name] = init[node.input[1]]
        elif node.op_type == "DynamicQuantizeLSTM":
            for key, at, scale, zero in (("W", 1, 8, 9), ("R", 2, 10, 11)):
                w = init[node.input[at]].astype(np.float32)
                z = init[node.input[zero]].astype(np.float32).reshape(-1, 1, 1)
                out[f"{node.name}.{key}"] = (w - z) * init[node.input[scale]].reshape(-1, 1, 1)
            out[f"{node.name}.B"] = init[node.input[3]]
    for name in ("word", "position", "token_type"):
        key = f"encoder.bert.embeddings.{name}_embeddings.weight"
        zero = init["encoder.bert.embeddings.word_embeddings.weight_zero_point"].astype(np.float32)
        out[key] = (init[key + "_quantized"].astype(np.float32) - zero) * init[key + "_scale"]
    key = "encoder.text_encoder.embedding.weight"
    out[key] = init[key + "_quantized"].astype(np.float32) * init[key + "_scale"]
    return out


class Batched:
    """The network. ``plan`` gives durations, ``render`` gives audio."""

    def __init__(
        self, weights: dict[str, np.ndarray], device: str, dtype: torch.dtype = torch.float32
    ) -> None:
        self.w = {k: torch.tensor(v, device=device) for k, v in weights.items()}
        self.device = device
        self.dtype = dtype  # of the generator, where the arithmetic is
        self.half: dict[str, Tensor] = {}
        self.lstms: dict[str, torch.nn.LSTM] = {}
        self.window = torch.hann_window(20, periodic=True, device=device)

    # -- pieces ---------------------------------------------------------------------------------
    def _linear(self, x: Tensor, node: str, bias: str) -> Tensor:
        return x @ self.w[node] + self.w[bias]

    def _lstm(self, x: Tensor, node: str) -> Tensor:
        """Bidirectional LSTM, (B, T, in) -> (B, T, 512)."""
        if node not in self.lstms:
            w, r, b = (self.w[f"{node}.{k}"] for k in "WRB")
            hidden = r.shape[1]
            lstm = torch.nn.LSTM(w.shape[1], hidden, batch_first=True, bidirectional=True)
            order = [0, 2, 3, 1]  # ONNX has the gates i o f c, torch i f c o

            def gates(m: Tensor) -> Tensor:
                return torch.cat([m.chunk(4, 0)[k] for k in order], 0)

            with torch.no_grad():
                for d, suffix in enumerate(("", "_reverse")):
                    getattr(lstm, f"weight_ih_l0{suffix}").copy_(gates(w[d].T))
                    getattr(lstm, f"weight_hh_l0{suffix}").copy_(gates(r[d].T))
                    getattr(lstm, f"bias_ih_l0{suffix}").copy_(gates(b[d][: 4 * hidden]))
                    getattr(lstm, f"bias_hh_l0{suffix}").copy_(gates(b[d][4 * hidden :]))
            self.lstms[node] = lstm.to(self.device)
        return self.lstms[node](x)[0]

    def _p(self, name: str, dtype: torch.dtype) -> Tensor:
        if dtype == torch.float32:
            return self.w[name]
        if name not in self.half:
            self.half[name] = self.w[name].to(dtype)
        return self.half[name]

    def _conv(self, x: Tensor, node: str, bias: str | None, **more: int) -> Tensor:
        b = self._p(bias, x.dtype) if bias else None
        return F.conv1d(x, self._p(node, x.dtype), b, **more)

    def _adain(self, x: Tensor, style: Tensor, node: str, bias: str) -> Tensor:
        gamma, beta = self._linear(style, node, bias).to(x.dtype).chunk(2, 1)
        var, mean = torch.var_mean(x, dim=2, keepdim=True, correction=0)
        scale = (1 + gamma[:, :, None]) * torch.rsqrt(var.float() + 1e-5).to(x.dtype)
        return torch.addcmul(beta[:, :, None] - mean * scale, x, scale)

    def _block(self, x: Tensor, style: Tensor, node: str, name: str) -> Tensor:
        """Residual block with adaptive instance norm; doubles the rate where it has a pool."""
        up = f"{name}.pool.bias" in self.w
        short = x.repeat_interleave(2, 2) if up else x
        if f"{node}/conv1x1/Conv_quant" in self.w:
            short = self._conv(short, f"{node}/conv1x1/Conv_quant", None)
        y = self._adain(x, style, f"{node}/norm1/fc/Gemm_MatMul_quant", f"{name}.norm1.fc.bias")
        y = F.leaky_relu(y, 0.2)
        if up:
            y = F.conv_transpose1d(
                y,
                self.w[f"{node}/pool/ConvTranspose"],
                self.w[f"{name}.pool.bias"],
                stride=2,
                padding=1,
                output_padding=1,
                groups=y.shape[1],
            )
        y = self._conv(y, f"{node}/conv1/Conv_quant", f"{name}.conv1.bias", padding=1)
        y = self._adain(y, style, f"{node}/norm2/fc/Gemm_MatMul_quant", f"{name}.norm2.fc.bias")
        y = F.leaky_relu(y, 0.2)
        y = self._conv(y, f"{node}/conv2/Conv_quant", f"{name}.conv2.bias", padding=1)
        return (y + short) / math.sqrt(2)

    def _snakes(self, x: Tensor, style: Tensor, kind: str, n: int, size: int) -> Tensor:
        """Three dilated convolution pairs with periodic activations."""
        node, name = (
            f"/decoder/decoder/generator/{kind}.{n}",
            f"decoder.decoder.generator.{kind}.{n}",
        )
        for i, dilation in enumerate((1, 3, 5)):
            y = x
            for k, d in ((1, dilation), (2, 1)):
                y = self._adain(
                    y,
                    style,
                    f"{node}/adain{k}.{i}/fc/Gemm_MatMul_quant",
                    f"{name}.adain{k}.{i}.fc.bias",
                )
                alpha = self._p(f"{name}.alpha{k}.{i}", y.dtype)
                s = torch.sin(alpha * y)
                y = torch.addcmul(y, s * s, 1 / alpha)
                y = self._conv(
                    y,
                    f"{node}/convs{k}.{i}/Conv_quant",
                    f"{name}.convs{k}.{i}.bias",
                    padding=d * (size - 1) // 2,
                    dilation=d,
                )
            x = x + y
        return x

    # -- first half: tokens to durations -----------------------------------------------------------
    def _bert(self, ids: Tensor) -> Tensor:
        e = "encoder.bert.embeddings."
        x = self.w[e + "word_embeddings.weight"][ids]
        x = x + self.w[e + "position_embeddings.weight"][: ids.shape[1]]
        x = x + self.w[e + "token_type_embeddings.weight"][0]
        x = F.layer_norm(
            x, (128,), self.w[e + "LayerNorm.weight"], self.w[e + "LayerNorm.bias"], 1e-12
        )
        b = "encoder.bert.encoder."
        x = self._linear(
            x,
            "/encoder/bert/encoder/embedding_hidden_mapping_in/MatMul_quant",
            b + "embedding_hidden_mapping_in.bias",
        )
        layer = b + "albert_layer_groups.0.albert_layers.0."
        n, t = ids.shape
        for _ in range(12):
            q, k, v = (
                self._linear(
                    x, f"{BERT}/attention/{part}/MatMul_quant", f"{layer}attention.{part}.bias"
                )
                .view(n, t, 12, 64)
                .transpose(1, 2)
                for part in ("query", "key", "value")
            )
            a = F.scaled_dot_product_attention(q, k, v).transpose(1, 2).reshape(n, t, 768)
            a = self._linear(
                a, f"{BERT}/attention/dense/MatMul_quant", f"{layer}attention.dense.bias"
            )
            ln = f"{layer}attention.LayerNorm"
            a = F.layer_norm(x + a, (768,), self.w[ln + ".weight"], self.w[ln + ".bias"], 1e-12)
            f = self._linear(a, f"{BERT}/ffn/MatMul_quant", f"{layer}ffn.bias")
            f = F.gelu(f, approximate="tanh")
            f = self._linear(f, f"{BERT}/ffn_output/MatMul_quant", f"{layer}ffn_output.bias")
            ln = f"{layer}full_layer_layer_norm"
            x = F.layer_norm(a + f, (768,), self.w[ln + ".weight"], self.w[ln + ".bias"], 1e-12)
        return x

    @torch.no_grad()
    def plan(
        self, ids: Tensor, style: Tensor, speed: Tensor, stretch: Tensor
    ) -> tuple[Tensor, Tensor, Tensor]:
        """ids (B, T) with both pads, style (B, 256), speed and stretch (B,).

        Returns durations int (B, T) in frames, prosody input (B, T, 640), text (B, 512, T).
        """
        s = style[:, 128:]
        x = self._bert(ids)
        x = self._linear(x, "/encoder/bert_encoder/MatMul_quant", "encoder.bert_encoder.bias")
        spread = s[:, None, :].expand(-1, ids.shape[1], -1)
        x = torch.cat([x, spread], 2)
        for i in (0, 2, 4):
            x = self._lstm(x, f"/encoder/predictor/text_encoder/lstms.{i}/LSTM_quant")
            h = self._linear(
                s,
                f"/encoder/predictor/text_encoder/lstms.{i + 1}/fc/Gemm_MatMul_quant",
                f"encoder.predictor.text_encoder.lstms.{i + 1}.fc.bias",
            )
            gamma, beta = h[:, None, :].chunk(2, 2)
            x = (1 + gamma) * F.layer_norm(x, (512,)) + beta
            x = torch.cat([x, spread], 2)
        y = self._lstm(x, "/encoder/predictor/lstm/LSTM_quant")
        y = self._linear(
            y,
            "/encoder/predictor/duration_proj/linear_layer/MatMul_quant",
            "encoder.predictor.duration_proj.linear_layer.bias",
        )
        durations = torch.sigmoid(y).sum(2) / speed[:, None]
        durations = durations * torch.exp(torch.randn_like(durations) * stretch[:, None])
        t = self.w["encoder.text_encoder.embedding.weight"][ids].transpose(1, 2)
        for i in range(3):
            t = self._conv(
                t,
                f"/encoder/text_encoder/cnn.{i}/cnn.{i}.0/Conv_quant",
                f"encoder.text_encoder.cnn.{i}.0.bias",
                padding=2,
            )
            g = f"encoder.text_encoder.cnn.{i}.1."
            t = F.layer_norm(t.transpose(1, 2), (512,), self.w[g + "gamma"], self.w[g + "beta"])
            t = F.leaky_relu(t, 0.2).transpose(1, 2)
        t = self._lstm(t.transpose(1, 2), "/encoder/text_encoder/lstm/LSTM_quant").transpose(1, 2)
        return durations.round().clamp(min=1).long(), x, t

    # -- second half: frames to audio --------------------------------------------------------------
    def _source(self, f0: Tensor) -> Tensor:
        """Pitch (B, 2F) in Hz to a harmonic source (B, 600F)."""
        harmonics = torch.arange(1, 10, device=f0.device, dtype=f0.dtype)
        step = (f0[:, :, None] * harmonics / 24000) % 1
        phase = torch.cumsum(step, 1) * 2 * math.pi
        phase = F.interpolate((phase * 300).transpose(1, 2), scale_factor=300, mode="linear")
        voiced = (f0 > 10).to(f0.dtype).repeat_interleave(300, 1)[:, None]
        sines = torch.sin(phase) * 0.1 * voiced
        noise = voiced * 0.003 + (1 - voiced) * 0.1 / 3
        sines = sines + noise * torch.randn_like(sines)
        node = "/decoder/decoder/generator/m_source/l_linear/MatMul"
        w = self.w[node].view(1, 9, 1)
        bias = self.w["decoder.decoder.generator.m_source.l_linear.bias"]
        return torch.tanh((sines * w).sum(1) + bias)

    @torch.no_grad()
    def render(
        self, prosody: Tensor, text: Tensor, style: Tensor, pitch: Tensor, lively: Tensor
    ) -> Tensor:
        """prosody (B, 640, F), text (B, 512, F), style (B, 256), pitch and lively (B,).

        Returns audio (B, 600 F), float32, 24 kHz.
        """
        s = style[:, 128:]
        x = self._lstm(prosody.transpose(1, 2), "/encoder/shared/LSTM_quant").transpose(1, 2)
        curves = []
        for kind in ("F0", "N"):
            y = x
            for i in range(3):
                y = self._block(y, s, f"/encoder/{kind}.{i}", f"encoder.predictor.{kind}.{i}")
            curves.append(
                self._conv(
                    y, f"/encoder/{kind}_proj/Conv_quant", f"encoder.predictor.{kind}_proj.bias"
                )
            )
        f0 = curves[0][:, 0]
        voiced = f0 > 10
        high = torch.where(voiced, f0, torch.ones_like(f0)).log()
        mean = high.sum(1, keepdim=True) / voiced.sum(1, keepdim=True).clamp(min=1)
        f0 = torch.where(voiced, torch.exp(mean + (high - mean) * lively[:, None]), f0)
        f0 = f0 * pitch[:, None]
        s = style[:, :128]
        d = "/decoder/decoder"
        slow = [
            self._conv(
                c,
                f"{d}/{kind}_conv/Conv_quant",
                f"decoder.decoder.{kind}_conv.bias",
                stride=2,
                padding=1,
            )
            for c, kind in ((f0[:, None], "F0"), (curves[1], "N"))
        ]
        x = self._block(torch.cat([text, *slow], 1), s, f"{d}/encode", "decoder.decoder.encode")
        short = self._conv(
            text, f"{d}/asr_res/asr_res.0/Conv_quant", "decoder.decoder.asr_res.0.bias"
        )
        for i in range(4):
            x = torch.cat([x, short, *slow], 1)
            x = self._block(x, s, f"{d}/decode.{i}", f"decoder.decoder.decode.{i}")
        g, name = f"{d}/generator", "decoder.decoder.generator"
        source = self._source(f0)
        spec = torch.stft(source, 20, 5, 20, self.window, return_complex=True)
        har = torch.cat([spec.abs(), spec.angle()], 1).to(self.dtype)
        x = x.to(self.dtype)
        for i, (rate, size) in enumerate(((10, 20), (6, 12))):
            x = F.leaky_relu(x, 0.1)
            stride, pad = ((6, 3), (1, 0))[i]
            y = self._conv(
                har,
                f"{g}/noise_convs.{i}/Conv_quant",
                f"{name}.noise_convs.{i}.bias",
                stride=stride,
                padding=pad,
            )
            y = self._snakes(y, s, "noise_res", i, (7, 11)[i])
            x = F.conv_transpose1d(
                x,
                self._p(f"{g}/ups.{i}/ConvTranspose", x.dtype),
                self._p(f"{name}.ups.{i}.bias", x.dtype),
                stride=rate,
                padding=(size - rate) // 2,
            )
            if i == 1:
                x = F.pad(x, (1, 0), mode="reflect")
            x = x + y
            x = (
                sum(self._snakes(x, s, "resblocks", 3 * i + j, k) for j, k in enumerate((3, 7, 11)))
                / 3
            )
        x = self._conv(F.leaky_relu(x), f"{g}/conv_post/Conv", f"{name}.conv_post.bias", padding=3)
        x = x.float()
        spec = torch.polar(torch.exp(x[:, :11]), torch.sin(x[:, 11:]))
        return torch.istft(spec, 20, 5, 20, self.window)


def speak_all(
    net: Batched,
    texts: Sequence[Text],
    batch_tokens: int = 8000,
    batch_frames: int = 6000,
    longest: int = 900,
) -> Iterator[tuple[list[int], np.ndarray, Tensor]]:
    """Speak many texts.

    Yields (indices into texts, durations (n, tokens + 2 each as a list of arrays), audio (n, 600 F)
    on the device), grouped by equal length, in no particular order.
    """
    by_tokens: dict[int, list[int]] = defaultdict(list)
    for i, text in enumerate(texts):
        by_tokens[len(text.ids)].append(i)
    waiting: dict[int, list[tuple[int, Tensor, Tensor, Tensor]]] = defaultdict(list)

    def column(name: str, index: list[int]) -> Tensor:
        rows = np.array([getattr(texts[i], name) for i in index], np.float32)
        return torch.tensor(rows, device=net.device)

    def flush(frames: int) -> tuple[list[int], list[np.ndarray], Tensor]:
        group = waiting.pop(frames)
        index = [g[0] for g in group]
        prosody = torch.stack([torch.repeat_interleave(g[2], g[1], 0).T for g in group])
        text = torch.stack([torch.repeat_interleave(g[3], g[1], 1) for g in group])
        style, pitch, lively = (column(name, index) for name in ("style", "pitch", "lively"))
        audio = net.render(prosody, text, style, pitch, lively)
        return index, [g[1].cpu().numpy() for g in group], audio

    for tokens, index in by_tokens.items():
        size = max(1, batch_tokens // (tokens + 2))
        for start in range(0, len(index), size):
            part = index[start : start + size]
            ids = torch.tensor([[0, *texts[i].ids, 0] for i in part], device=net.device)
            style, speed, stretch = (column(name, part) for name in ("style", "speed", "stretch"))
            durations, prosody, text = net.plan(ids, style, speed, stretch)
            totals = durations.sum(1).tolist()
            for k, i in enumerate(part):
                if totals[k] > longest:
                    continue
                waiting[totals[k]].append((i, durations[k], prosody[k], text[k]))
                if len(waiting[totals[k]]) * totals[k] >= batch_frames:
                    yield flush(totals[k])
    for frames in sorted(waiting):
        yield flush(frames)
