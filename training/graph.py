"""graph/HCLr.fst: the words of the model as a look-ahead graph, without any FST tool.

Rules of this file. START goes to HUB, through silence or not. HUB, the only final state, is the
root of a trie of position-dependent phones; each state has the self-loop of the phone that led into
it; every arc that leaves a phone and every self-loop costs ln 2. A word's label stands on the first
arc where only that word is left; after it, words with the same ending share their states. Word
ids follow the depth-first order of the trie, so that the labels within reach of a state are nearly
always one interval. ``Graph.accepts`` walks the written arcs again, for tests.
File layout: OpenFst "olabel_lookahead" around "const", standard arcs.
"""

from __future__ import annotations

import math
import struct
from collections import defaultdict
from pathlib import Path

from training.kaldi_model import graph_phones

LN2 = math.log(2)
MAGIC, LOOKAHEAD = 2125659606, 446681434
UNKNOWN = "[unk]"


def positioned(phones: tuple[str, ...], ids: dict[str, int]) -> tuple[int, ...]:
    """Graph phone ids of a word."""
    if phones == ("SPN",):
        return (2,)
    if len(phones) == 1:
        return (ids[f"{phones[0]}_S"],)
    inner = [f"{p}_I" for p in phones[1:-1]]
    return tuple(ids[p] for p in (f"{phones[0]}_B", *inner, f"{phones[-1]}_E"))


class Graph:
    """States with arcs (input label, output label, cost, next) and the words in id order."""

    START, HUB, SILENCE = 0, 1, 2

    def __init__(
        self, lexicon: dict[str, list[tuple[str, ...]]], unknown_cost: float = 0.0
    ) -> None:
        """lexicon: word to pronunciations; [unk] is added as SPN, entered at a cost (nats)."""
        self.unknown_cost = unknown_cost
        ids = {p: i + 1 for i, p in enumerate(graph_phones())}
        self.entries = sorted(
            {(positioned(p, ids), w) for w, ps in lexicon.items() for p in ps} | {((2,), UNKNOWN)}
        )
        self.words: list[str] = []
        self.number: dict[str, int] = {}
        for _, word in self.entries:
            if word not in self.number:
                self.words.append(word)
                self.number[word] = len(self.words)
        self.arcs: list[list[tuple[int, int, float, int]]] = [[], [], []]
        self.labels: list[set[int] | None] = [None, None, None]  # None: every label
        self.ends: dict[int, int] = {}
        self.chains: dict[tuple[int, ...], int] = {}
        self.arcs[self.START] = [(2, 0, 0.0, self.SILENCE), (0, 0, 0.0, self.HUB)]
        self.arcs[self.SILENCE] = [(1, 0, LN2, self.SILENCE), (0, 0, LN2, self.HUB)]
        self._branch(self.HUB, self.entries, 0, 0.0)

    def _state(self, phone: int, labels: set[int] | None) -> int:
        self.arcs.append([(2 * phone - 1, 0, LN2, len(self.arcs))])
        self.labels.append(labels)
        return len(self.arcs) - 1

    def _end(self, phone: int) -> int:
        if phone not in self.ends:
            s = self.ends[phone] = self._state(phone, None)
            self.arcs[s] += [(0, 0, LN2, self.HUB), (2, 0, LN2, self.SILENCE)]
        return self.ends[phone]

    def _chain(self, phones: tuple[int, ...]) -> int:
        """State of phones[0], after which the rest follows."""
        if len(phones) == 1:
            return self._end(phones[0])
        if phones not in self.chains:
            s = self.chains[phones] = self._state(phones[0], None)
            self.arcs[s].append((2 * phones[1], 0, LN2, self._chain(phones[1:])))
        return self.chains[phones]

    def _branch(
        self, state: int, entries: list[tuple[tuple[int, ...], str]], depth: int, cost: float
    ) -> None:
        groups: dict[int, list[tuple[tuple[int, ...], str]]] = defaultdict(list)
        for entry in entries:
            groups[entry[0][depth]].append(entry)
        for phone, group in groups.items():
            if len(group) == 1 or depth == len(group[0][0]) - 1:
                for phones, word in group:
                    to = self._chain(phones[depth:])
                    more = self.unknown_cost if word == UNKNOWN else 0.0
                    self.arcs[state].append((2 * phone, self.number[word], cost + more, to))
            else:
                to = self._state(phone, {self.number[w] for _, w in group})
                self.arcs[state].append((2 * phone, 0, cost, to))
                self._branch(to, group, depth + 1, LN2)

    def intervals(self, state: int) -> list[tuple[int, int]]:
        """Labels within reach of a state, half-open intervals."""
        labels = self.labels[state]
        if labels is None:
            return [(1, len(self.words) + 2)]
        out: list[list[int]] = []
        for n in sorted(labels):
            if out and out[-1][1] == n:
                out[-1][1] = n + 1
            else:
                out.append([n, n + 1])
        return [(a, b) for a, b in out]

    def write(self, path: Path) -> None:
        """Write HCLr.fst."""
        arcs = [sorted(a, key=lambda x: x[1]) for a in self.arcs]
        total = sum(map(len, arcs))

        def header(kind: bytes, version: int) -> bytes:
            out = struct.pack("<ii", MAGIC, len(kind)) + kind + struct.pack("<i", 8) + b"standard"
            return out + struct.pack("<iiQqqq", version, 0, 0x565020001, 0, len(arcs), total)

        out = [header(b"olabel_lookahead", 1), struct.pack("<i", LOOKAHEAD), header(b"const", 2)]
        first = 0
        for s, a in enumerate(arcs):
            final = 0.0 if s == self.HUB else math.inf
            empty_in, empty_out = sum(x[0] == 0 for x in a), sum(x[1] == 0 for x in a)
            out.append(struct.pack("<fIIII", final, first, len(a), empty_in, empty_out))
            first += len(a)
        out += [struct.pack("<iifi", *x) for a in arcs for x in a]
        out.append(b"\1\0\1\0\0" + struct.pack("<iq", len(self.words) + 1, len(arcs)))
        for s in range(len(arcs)):
            spans = self.intervals(s)
            out.append(struct.pack("<q", len(spans)))
            out += [struct.pack("<ii", a, b) for a, b in spans]
            out.append(struct.pack("<i", sum(b - a for a, b in spans)))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"".join(out))


def read_graph(
    path: Path,
) -> tuple[list[list[tuple[int, int, float, int]]], list[list[tuple[int, int]]]]:
    """Read HCLr.fst back: arcs by state, label intervals by state."""
    d = path.read_bytes()
    at = 0

    def header(kind: bytes) -> tuple[int, int]:
        nonlocal at
        magic, size = struct.unpack_from("<ii", d, at)
        if magic != MAGIC or d[at + 8 : at + 8 + size] != kind:
            raise ValueError(f"{kind.decode()} expected in the graph")
        at += 8 + size + 4 + 8
        _, _, _, _, states, arcs = struct.unpack_from("<iiQqqq", d, at)
        at += 40
        return states, arcs

    header(b"olabel_lookahead")
    at += 4
    states, total = header(b"const")
    shape = [struct.unpack_from("<fIIII", d, at + 20 * s) for s in range(states)]
    at += 20 * states
    flat = [struct.unpack_from("<iifi", d, at + 16 * k) for k in range(total)]
    at += 16 * total + 5 + 12
    arcs = [flat[f : f + n] for _, f, n, _, _ in shape]
    spans = []
    for _ in range(states):
        (k,) = struct.unpack_from("<q", d, at)
        spans.append([struct.unpack_from("<ii", d, at + 8 + 8 * i) for i in range(k)])
        at += 8 + 8 * k + 4
    if at != len(d):
        raise ValueError("the graph file has another length than it says")
    return arcs, spans


def spoken_words(
    arcs: list[list[tuple[int, int, float, int]]], phones: tuple[int, ...], hub: int = Graph.HUB
) -> set[int]:
    """Labels of the paths from the hub that emit exactly these phones and end at a word end."""
    at = {(hub, 0)}
    for phone in phones:
        at = {
            (to, label or olabel)
            for state, label in at
            for ilabel, olabel, _, to in arcs[state]
            if ilabel == 2 * phone
        }
    return {
        label for state, label in at if any(i == 0 and to == hub for i, _, _, to in arcs[state])
    }


def write_unknown_loop(path: Path, label: int) -> None:
    """Gr.fst: one final state with a loop over [unk] (a grammar is given at run time)."""
    out = struct.pack("<ii", MAGIC, 5) + b"const" + struct.pack("<i", 8) + b"standard"
    # properties: expanded acceptor, deterministic, sorted, no epsilons, unweighted, cyclic
    out += struct.pack("<iiQqqq", 2, 0, 0x45A810001, 0, 1, 1)
    out += struct.pack("<fIIII", 0.0, 0, 1, 0, 0) + struct.pack("<iifi", label, label, 0.0, 0)
    path.write_bytes(out)
