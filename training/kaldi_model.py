"""am/final.mdl: write the folded network as Kaldi nnet3 with a transition model, and read it back.

Rules of this file. Little-endian; a token is text and one space; basic types are preceded by their
size in bytes. Graph phones are position-dependent (158 of them, graph_phones) and share the pdfs
of their base phone. Weights are stored as Kaldi compressed matrices (CM: one byte a weight, four
percentiles a column). ``read_model`` is a reader of its own for tests; it shares no code with the
writer except the names of tokens.
"""

from __future__ import annotations

import io
import math
import struct
from pathlib import Path

import numpy as np

from training.lexicon import PHONES

POSITIONS = ("B", "I", "E", "S")


def graph_phones() -> list[str]:
    """Names by id - 1: SIL, SPN, AA_B, AA_I, AA_E, AA_S, AE_B ..."""
    return ["SIL", "SPN"] + [f"{p}_{x}" for p in PHONES[2:] for x in POSITIONS]


def base_index(g: int) -> int:
    """Network phone index of a graph phone id."""
    return g - 1 if g <= 2 else 2 + (g - 3) // 4


def _token(text: str) -> bytes:
    return text.encode() + b" "


def _int(n: int) -> bytes:
    return b"\x04" + struct.pack("<i", n)


def _float(x: float) -> bytes:
    return b"\x04" + struct.pack("<f", x)


def _ints(values: list[int]) -> bytes:
    return b"\x04" + struct.pack(f"<i{len(values)}i", len(values), *values)


def _vector(v: np.ndarray) -> bytes:
    return _token("FV") + _int(len(v)) + np.asarray(v, "<f4").tobytes()


def compressed(m: np.ndarray) -> bytes:
    """Kaldi CompressedMatrix, format CM: four percentiles a column, then one byte a weight."""
    m = np.asarray(m, np.float64)
    rows, columns = m.shape
    low = float(m.min())
    span = max(float(m.max()) - low, 1e-8)
    ordered = np.sort(m, 0)
    at = [0, rows // 4, 3 * (rows // 4), rows - 1]
    points = np.round((ordered[at] - low) / span * 65535).astype(np.int64)
    for k in (1, 2, 3):  # strictly rising, as Kaldi wants it
        points[k] = np.maximum(points[k], points[k - 1] + 1)
    points = np.minimum(points, np.array([65532, 65533, 65534, 65535])[:, None])
    p = low + span * points / 65535
    lower = np.round((m - p[0]) / (p[1] - p[0]) * 64).clip(0, 64)
    middle = 64 + np.round((m - p[1]) / (p[2] - p[1]) * 128).clip(0, 128)
    upper = 192 + np.round((m - p[2]) / (p[3] - p[2]) * 63).clip(0, 63)
    q = np.where(m < p[1], lower, np.where(m < p[2], middle, upper)).astype(np.uint8)
    head = _token("CM") + struct.pack("<ffii", low, span, rows, columns)
    return head + points.T.astype("<u2").tobytes() + q.T.tobytes()


def _full(m: np.ndarray) -> bytes:
    return _token("FM") + _int(m.shape[0]) + _int(m.shape[1]) + np.asarray(m, "<f4").tobytes()


def write_model(
    path: Path, described: list[dict], weights: dict[str, np.ndarray], compress: bool = True
) -> None:
    """Write final.mdl from the output of ``network.fold``."""
    phones = graph_phones()
    n = len(phones)
    out = io.BytesIO()
    out.write(b"\0B" + _token("<TransitionModel>") + _token("<Topology>"))
    out.write(_ints(list(range(1, n + 1))) + _ints([-1] + [0] * n))
    out.write(_int(-1) + _int(1) + _int(2))
    out.write(_int(0) + _int(1) + _int(2) + _int(0) + _float(0.5) + _int(1) + _float(0.5))
    out.write(_int(-1) + _int(-1) + _int(0) + _token("</Topology>"))
    out.write(_token("<Tuples>") + _int(n))
    for g in range(1, n + 1):
        i = base_index(g)
        out.write(_int(g) + _int(0) + _int(2 * i) + _int(2 * i + 1))
    out.write(_token("</Tuples>") + _token("<LogProbs>"))
    out.write(_vector(np.array([0.0] + [math.log(0.5)] * (2 * n))))
    out.write(_token("</LogProbs>") + _token("</TransitionModel>"))
    lines, components = ["input-node name=input dim=40"], []
    below = "input"
    for layer in described:
        name = layer["name"]
        parts = [f"Offset({below}, {o})" if o else below for o in layer["offsets"]]
        source = f"Append({', '.join(parts)})" if len(parts) > 1 else parts[0]
        lines.append(f"component-node name={name}.affine component={name}.affine input={source}")
        w = weights[f"{name}.W"]
        matrix = compressed(w) if compress else _full(w)
        components.append(
            (
                f"{name}.affine",
                _token("<FixedAffineComponent>")
                + _token("<LinearParams>")
                + matrix
                + _token("<BiasParams>")
                + _vector(weights[f"{name}.b"])
                + _token("</FixedAffineComponent>"),
            )
        )
        now = f"{name}.affine"
        if layer["relu"]:
            lines.append(f"component-node name={name}.relu component={name}.relu input={now}")
            empty = _vector(np.zeros(0))
            body = _token("<RectifiedLinearComponent>") + _token("<Dim>") + _int(layer["out"])
            body += _token("<ValueAvg>") + empty + _token("<DerivAvg>") + empty
            body += _token("<Count>") + _float(0) + _token("<OderivRms>") + empty
            body += (
                _token("<OderivCount>") + _float(0) + _token("<NumDimsSelfRepaired>") + _float(0)
            )
            body += _token("<NumDimsProcessed>") + _float(0) + _token("</RectifiedLinearComponent>")
            components.append((f"{name}.relu", body))
            now = f"{name}.relu"
        if "residual" in layer:
            scale = layer["residual"]["scale"]
            lines.append(
                f"component-node name={name}.sum component={name}.sum"
                f" input=Sum({now}, Scale({scale}, {below}))"
            )
            body = _token("<NoOpComponent>") + _token("<Dim>") + _int(layer["out"])
            body += _token("<BackpropScale>") + _float(1) + _token("</NoOpComponent>")
            components.append((f"{name}.sum", body))
            now = f"{name}.sum"
        below = now
    lines.append(f"output-node name=output input={below} objective=linear")
    out.write(_token("<Nnet3>") + b"\n" + "".join(line + "\n" for line in lines).encode() + b"\n")
    out.write(_token("<NumComponents>") + _int(len(components)))
    for name, body in components:
        out.write(_token("<ComponentName>") + _token(name) + body)
    side = sum(layer["offsets"][-1] for layer in described)
    out.write(_token("</Nnet3>") + _token("<LeftContext>") + _int(side))
    out.write(_token("<RightContext>") + _int(side) + _token("<Priors>") + _vector(np.zeros(0)))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(out.getvalue())


class _Reader:
    def __init__(self, data: bytes) -> None:
        self.d, self.at = data, 0

    def take(self, n: int) -> bytes:
        piece = self.d[self.at : self.at + n]
        if len(piece) < n:
            raise ValueError("the model file ends too early")
        self.at += n
        return piece

    def token(self) -> str:
        end = self.d.index(b" ", self.at)
        text = self.d[self.at : end].decode().strip("\n")
        self.at = end + 1
        return text

    def expect(self, text: str) -> None:
        found = self.token()
        if found != text:
            raise ValueError(f"{text} expected in the model file, {found!r} found")

    def number(self, kind: str = "i") -> float:
        if self.take(1) != b"\x04":
            raise ValueError("a number of four bytes expected in the model file")
        return struct.unpack("<" + kind, self.take(4))[0]

    def ints(self) -> list[int]:
        n = int(self.number())
        return list(struct.unpack(f"<{n}i", self.take(4 * n)))

    def vector(self) -> np.ndarray:
        self.expect("FV")
        return np.frombuffer(self.take(4 * int(self.number())), "<f4")

    def matrix(self) -> np.ndarray:
        kind = self.token()
        if kind == "FM":
            rows, columns = int(self.number()), int(self.number())
            return np.frombuffer(self.take(4 * rows * columns), "<f4").reshape(rows, columns)
        low, span, rows, columns = struct.unpack("<ffii", self.take(16))
        points = np.frombuffer(self.take(8 * columns), "<u2").reshape(columns, 4)
        p = (low + span * points.astype(np.float64) / 65535).T
        q = (
            np.frombuffer(self.take(rows * columns), np.uint8)
            .reshape(columns, rows)
            .T.astype(float)
        )
        a = p[0] + (p[1] - p[0]) * q / 64
        b = p[1] + (p[2] - p[1]) * (q - 64) / 128
        c = p[2] + (p[3] - p[2]) * (q - 192) / 63
        return np.where(q <= 64, a, np.where(q <= 192, b, c))


def read_model(path: Path) -> tuple[list[dict], dict[str, np.ndarray], dict]:
    """Read final.mdl: (layer descriptions, weights, what the transition model says)."""
    r = _Reader(path.read_bytes())
    if r.take(2) != b"\0B":
        raise ValueError("not a binary Kaldi file")
    r.expect("<TransitionModel>")
    r.expect("<Topology>")
    phones, index = r.ints(), r.ints()
    topology = [r.number() for _ in range(7)] + [r.number("f"), r.number(), r.number("f")]
    topology += [r.number() for _ in range(3)]
    r.expect("</Topology>")
    r.expect("<Tuples>")
    tuples = [tuple(int(r.number()) for _ in range(4)) for _ in range(int(r.number()))]
    r.expect("</Tuples>")
    r.expect("<LogProbs>")
    probs = r.vector()
    r.expect("</LogProbs>")
    r.expect("</TransitionModel>")
    r.expect("<Nnet3>")
    end = r.d.index(b"\n\n", r.at)
    lines = r.d[r.at : end].decode().strip().splitlines()
    r.at = end + 2
    r.expect("<NumComponents>")
    described, weights = [], {}
    for _ in range(int(r.number())):
        r.expect("<ComponentName>")
        name = r.token()
        base, kind = name.rsplit(".", 1)
        r.token()
        if kind == "affine":
            r.expect("<LinearParams>")
            weights[f"{base}.W"] = r.matrix()
            r.expect("<BiasParams>")
            weights[f"{base}.b"] = r.vector()
            r.token()
            source = next(x for x in lines if f"name={name} " in x).split("input=")[1]
            inner = (
                source.removeprefix("Append(").removesuffix(")") if "Append" in source else source
            )
            offsets = [
                int(x.split(",")[1].strip(" )")) if x.startswith("Offset") else 0
                for x in inner.replace("), ", ")|").replace(", Offset", "|Offset").split("|")
            ]
            rows, columns = weights[f"{base}.W"].shape
            described.append({"name": base, "offsets": offsets, "in": columns // len(offsets),
                              "out": rows, "relu": False})  # fmt: skip
        elif kind == "relu":
            while r.token() != "</RectifiedLinearComponent>":
                if r.d[r.at : r.at + 1] == b"\x04":
                    r.take(5)
                elif r.d[r.at : r.at + 3] == b"FV ":
                    r.vector()
            described[-1]["relu"] = True
        else:
            while r.token() != "</NoOpComponent>":
                r.take(5)
            scale = float(
                next(x for x in lines if f"name={name} " in x).split("Scale(")[1].split(",")[0]
            )
            described[-1]["residual"] = {"from": described[-2]["name"], "scale": scale}
    r.expect("</Nnet3>")
    found = {
        "phones": phones,
        "index": index,
        "topology": topology,
        "tuples": tuples,
        "probs": probs,
    }
    return described, weights, found
