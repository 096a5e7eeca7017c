"""Write the complete model folder for vosk from the trained weights, with its card MODEL.json.

Rules of this file. Everything in the folder is made here: network, graph, words, word boundaries,
configuration, card. The card has the digest of every file and says how the model was made. Words
of --more files (YAML or text) without a pronunciation are listed and left out. A word of
trade_words.txt without one is guessed from its spelling; the card lists it with its phones.

    python -m training.export --weights FOLDER --out voicecheck/acoustic/model

Without --weights the network in --out stays as it is and only the words are made anew (after new
checklists, say). --keep writes the weights in half precision to a folder from which --weights here
and --init of the training can go on; training/weights holds those of the shipped network.
"""

from __future__ import annotations

import argparse
import datetime
import hashlib
import json
import re
from pathlib import Path

import numpy as np

from training import lexicon, network
from training.decoys import write_decoys
from training.graph import UNKNOWN, Graph, write_unknown_loop
from training.kaldi_model import graph_phones, read_model, write_model

MFCC = """--use-energy=false
--sample-frequency=16000
--num-mel-bins=40
--num-ceps=40
--low-freq=20
--high-freq=-400
--dither=0
"""
DECODER = """--min-active=200
--max-active=3000
--beam=13.0
--lattice-beam=6.0
--acoustic-scale=1.0
--frame-subsampling-factor=3
--frames-per-chunk=150
--endpoint.silence-phones=1
--endpoint.rule2.min-trailing-silence=0.5
--endpoint.rule3.min-trailing-silence=0.75
--endpoint.rule4.min-trailing-silence=1.0
"""


def load_network(folder: Path) -> network.Network:
    """The network from weights-a.npz and weights-b.npz, in evaluation mode."""
    state = network.read_weights(folder)
    width = state["convs.0.weight"].shape[0]
    net = network.Network(network.layers(width))
    net.load_state_dict(state)
    return net.eval()


def words_of(paths: list[Path]) -> set[str]:
    """Lower-case words of text files."""
    out: set[str] = set()
    for path in paths:
        out |= set(re.findall(r"[a-z][a-z']*[a-z]|\b[ai]\b", path.read_text("utf-8").lower()))
    return out


def write_folder(
    out: Path,
    described: list[dict],
    weights: dict[str, np.ndarray] | None,
    words: list[str],
    unknown_cost: float = 0.0,
) -> Graph:
    """All files but the card; without weights am/final.mdl is left alone."""
    if weights is not None:
        write_model(out / "am/final.mdl", described, weights)
    graph = Graph({w: lexicon.pronunciations(w) for w in words}, unknown_cost)
    graph.write(out / "graph/HCLr.fst")
    write_decoys(out / "graph/decoys.txt", words)
    write_unknown_loop(out / "graph/Gr.fst", graph.number[UNKNOWN])
    names = ["<eps>", *graph.words]
    (out / "graph/words.txt").write_text("".join(f"{w} {i}\n" for i, w in enumerate(names)))
    phones = graph_phones()
    (out / "graph/disambig_tid.int").write_text(f"{2 * len(phones) + 1}\n")
    kind = {"B": "begin", "I": "internal", "E": "end", "S": "singleton"}
    lines = ["1 nonword\n", "2 singleton\n"]
    lines += [f"{i} {kind[p[-1]]}\n" for i, p in enumerate(phones, 1) if i > 2]
    (out / "graph/phones").mkdir(parents=True, exist_ok=True)
    (out / "graph/phones/word_boundary.int").write_text("".join(lines))
    (out / "conf").mkdir(parents=True, exist_ok=True)
    (out / "conf/mfcc.conf").write_text(MFCC)
    (out / "conf/model.conf").write_text(DECODER)
    return graph


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--words", type=int, default=32000)
    parser.add_argument("--more", type=Path, nargs="*", default=[])
    parser.add_argument("--unknown-cost", type=float, default=-1.0, help="of entering [unk], nats")
    parser.add_argument("--about", type=Path, help="JSON with the data amounts of the run")
    args = parser.parse_args()
    if args.weights:
        net = load_network(args.weights)
        if args.keep:
            network.write_weights(net.state_dict(), args.keep, half=True)
        described, weights = network.fold(net)
    else:
        described, held, _ = read_model(args.out / "am/final.mdl")
        weights = None
    table = lexicon.dictionary()
    more = words_of(args.more)
    unknown = sorted(w for w in more if w not in table)
    if unknown:
        print("left out, no pronunciation:", " ".join(unknown))
    words = lexicon.word_list(args.words, more - set(unknown))
    for word, phones in lexicon.guessed().items():
        print("guessed from the spelling, check it:", word, *phones)
    graph = write_folder(args.out, described, weights, words, args.unknown_cost)
    files = sorted(p for p in args.out.rglob("*") if p.is_file() and p.name != "MODEL.json")
    digests = {
        str(p.relative_to(args.out)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files
    }
    whole = hashlib.sha256("".join(f"{k} {v}\n" for k, v in digests.items()).encode()).hexdigest()
    card = {
        "name": "voicecheck acoustic model",
        "date": datetime.date.today().isoformat(),
        "engine": "vosk 0.3.45 folder layout (Kaldi nnet3, look-ahead graph)",
        "licence": "Apache-2.0",
        "network": {
            "layers": [{k: v for k, v in layer.items() if k != "name"} for layer in described],
            "weights": int(sum(w.size for w in (held if weights is None else weights).values())),
        },
        "unknown_cost": args.unknown_cost,
        "words": len(graph.words) - 1,
        "pronunciations": len(graph.entries) - 1,
        "guessed": {w: " ".join(p) for w, p in lexicon.guessed().items()},
        "whole_phrases": {w.replace("_", " "): w for w in lexicon.phrases()[1]},
        "training": json.loads(args.about.read_text("utf-8")) if args.about else {},
        "sha256": whole,
        "files": digests,
    }
    (args.out / "MODEL.json").write_text(json.dumps(card, indent=1) + "\n", "utf-8")
    size = sum(p.stat().st_size for p in files)
    print(f"{len(graph.words)} words, {size / 1e6:.2f} MB, digest {whole[:12]}")


if __name__ == "__main__":
    main()
