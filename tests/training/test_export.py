"""The exported network computes what PyTorch computes, also inside vosk."""

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from training import kaldi_model, network  # noqa: E402
from training.features import Mfcc  # noqa: E402

CLIPS = Path(__file__).parents[2] / "audio_fixtures/all-good/clips"
MODEL = Path(__file__).parents[2] / "voicecheck/acoustic/model"
KEPT = Path(__file__).parents[2] / "training/weights"
shipped = pytest.mark.skipif(not (MODEL / "am/final.mdl").exists(), reason="no trained model here")


def small_network():
    torch.manual_seed(0)
    net = network.Network(network.layers(16))
    for norm in net.norms:
        torch.nn.init.uniform_(norm.running_mean, -1, 1)
        torch.nn.init.uniform_(norm.running_var, 0.5, 2)
        torch.nn.init.uniform_(norm.weight, 0.5, 2)
        torch.nn.init.uniform_(norm.bias, -1, 1)
    torch.nn.init.normal_(net.output.weight)
    torch.nn.init.normal_(net.output.bias)
    net.mean.uniform_(-1, 1)
    net.scale.uniform_(0.5, 1)
    return net.eval()


@pytest.mark.parametrize("frames", [1, 7, 48, 50])
def test_folded_network_equals_pytorch(frames):
    net = small_network()
    x = np.random.default_rng(frames).normal(size=(frames, 40)).astype(np.float32)
    with torch.no_grad():
        expected = net(torch.tensor(x)[None])[0][0].numpy()
    described, weights = network.fold(net)
    found = network.run_folded(described, weights, x)
    assert found.shape == expected.shape == ((frames + 2) // 3, network.PDFS)
    assert np.abs(found - expected).max() < 1e-3 * np.abs(expected).max()


def test_no_output_depends_on_where_an_utterance_is_cut():
    net = small_network()
    x = torch.randn(1, 300, 40)
    with torch.no_grad():
        whole, later = net(x)[0], net(x[:, 90:])[0]
    side = network.context(net.shape) // 3 + 2
    assert torch.allclose(whole[0, 30 + side : 80], later[0, side:50], atol=1e-4)


def test_written_model_reads_back(tmp_path):
    described, weights = network.fold(small_network())
    kaldi_model.write_model(tmp_path / "full.mdl", described, weights, compress=False)
    again, exact, found = kaldi_model.read_model(tmp_path / "full.mdl")
    assert again == described
    assert all(np.array_equal(exact[k], weights[k]) for k in weights)
    assert len(found["phones"]) == 158
    # two transitions of one half a phone; pdfs 2i on entry, 2i + 1 while staying
    assert np.allclose(found["probs"][1:], np.log(0.5))
    assert {t[2:] for t in found["tuples"]} == {(2 * i, 2 * i + 1) for i in range(41)}
    kaldi_model.write_model(tmp_path / "small.mdl", described, weights)
    _, close, _ = kaldi_model.read_model(tmp_path / "small.mdl")
    for k in weights:
        spread = weights[k].std()
        assert np.sqrt(np.square(close[k] - weights[k]).mean()) < 0.02 * spread, k


def test_a_truncated_model_is_refused(tmp_path):
    described, weights = network.fold(small_network())
    path = tmp_path / "x.mdl"
    kaldi_model.write_model(path, described, weights)
    path.write_bytes(path.read_bytes()[:5000])
    with pytest.raises(ValueError, match="model file"):
        kaldi_model.read_model(path)


@shipped
def test_the_card_fits_the_files():
    card = json.loads((MODEL / "MODEL.json").read_text("utf-8"))
    files = {str(p.relative_to(MODEL)) for p in MODEL.rglob("*") if p.is_file()} - {"MODEL.json"}
    assert set(card["files"]) == files
    for name, digest in card["files"].items():
        assert hashlib.sha256((MODEL / name).read_bytes()).hexdigest() == digest, name
    assert sum(p.stat().st_size for p in MODEL.rglob("*") if p.is_file()) < 12e6


@shipped
def test_the_shipped_network_computes_what_the_kept_weights_compute():
    """PyTorch with training/weights, folded, and as the bytes in final.mdl have it."""
    export = pytest.importorskip("training.export")
    net = export.load_network(KEPT)
    described, exact = network.fold(net)
    again, close, _ = kaldi_model.read_model(MODEL / "am/final.mdl")
    assert again == described
    for k in exact:
        assert np.sqrt(np.square(close[k] - exact[k]).mean()) < 0.03 * exact[k].std(), k
    x = Mfcc()(torch.tensor(clip("pass-1", np.random.default_rng(6)).astype(np.float32))[None])
    with torch.no_grad():
        expected = net(x)[0][0].numpy()
    folded = network.run_folded(described, exact, x[0].numpy())
    assert np.abs(folded - expected).max() < 1e-3
    # One byte a weight moves the scores; a wrong layer would leave nothing of them.
    shipped_scores = network.run_folded(described, close, x[0].numpy())
    assert np.sqrt(np.square(shipped_scores - expected).mean()) < 0.1 * expected.std()


def test_weights_kept_in_half_precision_read_back(tmp_path):
    net = small_network()
    network.write_weights(net.state_dict(), tmp_path, half=True)
    again = network.Network(net.shape)
    again.load_state_dict(network.read_weights(tmp_path))
    x = torch.randn(1, 60, 40)
    with torch.no_grad():
        expected, found = net(x)[0], again.eval()(x)[0]
    assert 0 < (found - expected).abs().max() < 0.01 * expected.abs().max()


def path_score(scores, phones):
    """Best sum over the frames: silence or not, the phones, silence or not (own Viterbi)."""
    best = -np.inf
    for line in ([0, *phones, 0], [0, *phones], [*phones, 0], list(phones)):
        v = np.full(len(line), -np.inf)
        v[0] = scores[0, 2 * line[0]]
        for frame in scores[1:]:
            enter = np.concatenate([[-np.inf], v[:-1]]) + frame[[2 * p for p in line]]
            v = np.maximum(enter, v + frame[[2 * p + 1 for p in line]])
        best = max(best, v[-1])
    return best


def clip(name, rng):
    """A spoken word of the drive that the package carries, 1.2 s with a faint hiss around it."""
    soundfile = pytest.importorskip("soundfile")
    x, rate = soundfile.read(CLIPS / f"{name}.flac")
    assert rate == 16000
    loud = np.flatnonzero(np.abs(x) > 0.02 * np.abs(x).max())
    x = x[loud[0] : loud[-1]][:14400] * 32767
    x = np.pad(x, ((19200 - len(x)) // 2, 19200 - len(x) - (19200 - len(x)) // 2))
    return np.round(x + rng.normal(size=19200) * 5).astype(np.int16)


@shipped
def test_vosk_scores_as_our_own_network_does():
    """Score of vosk minus ours is one constant (the graph's costs) for equally many frames."""
    vosk = pytest.importorskip("vosk")
    vosk.SetLogLevel(-1)
    model = vosk.Model(str(MODEL))
    described, weights, _ = kaldi_model.read_model(MODEL / "am/final.mdl")
    rng = np.random.default_rng(4)
    constant = {"": [], "word": []}
    for word, phones in (("pass", "P AE S"), ("held", "HH EH L D"), ("locked", "L AA K T")):
        samples = clip(f"{word}-1", rng)
        x = Mfcc()(torch.tensor(samples.astype(np.float32))[None])[0].numpy()
        scores = network.run_folded(described, weights, x)
        for only in (word, "zulu"):
            r = vosk.KaldiRecognizer(model, 16000, json.dumps([only]))
            r.SetMaxAlternatives(1)
            r.AcceptWaveform(samples.tobytes())
            heard = json.loads(r.FinalResult())["alternatives"][0]
            if heard["text"] == "":
                own = scores[0, 0] + scores[1:, 1].sum()
                constant[""].append(heard["confidence"] - own)
            elif only == word:
                own = path_score(scores, [kaldi_model.PHONES.index(p) for p in phones.split()])
                constant["word"].append(heard["confidence"] - own)
    assert len(constant["word"]) == 3
    # float32 and 40 output frames; a wrong layer or context moves this by whole units
    for values in constant.values():
        assert not values or max(values) - min(values) < 0.02
