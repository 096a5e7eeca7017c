"""Our MFCC against kaldi-native-fbank 1.23 (an independent port of Kaldi's feature code)."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")
knf = pytest.importorskip("kaldi_native_fbank")

from training import features  # noqa: E402


def reference(samples):
    options = knf.MfccOptions()
    options.frame_opts.dither = 0
    options.frame_opts.samp_freq = 16000
    options.frame_opts.snip_edges = True
    options.mel_opts.num_bins = 40
    options.mel_opts.low_freq = 20
    options.mel_opts.high_freq = -400
    options.num_ceps = 40
    options.use_energy = False
    online = knf.OnlineMfcc(options)
    online.accept_waveform(16000, samples.tolist())
    online.input_finished()
    return np.stack([online.get_frame(i) for i in range(online.num_frames_ready)])


def test_mfcc_equals_the_reference():
    rng = np.random.default_rng(3)
    t = np.arange(16000) / 16000
    samples = 3000 * np.sin(2 * np.pi * (200 + 900 * t) * t) + rng.normal(size=16000) * 200
    samples = np.round(samples).astype(np.float32)
    ours = features.Mfcc()(torch.tensor(samples)[None])[0].numpy()
    expected = reference(samples)
    assert ours.shape == expected.shape == (features.frames(16000), 40)
    assert np.abs(ours - expected).max() < 5e-3
    assert np.abs(ours - expected).mean() < 2e-4


def test_no_warp_is_the_plain_bank():
    f = np.linspace(0, 8000, 100)
    assert np.allclose(features.warp(f, 1.0), f)
    assert np.all(np.diff(features.warp(f, 1.15)) > 0)
    assert np.all(np.diff(features.warp(f, 0.86)) > 0)
