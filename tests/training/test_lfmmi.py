"""Forward-backward of LF-MMI against brute force over every path of tiny cases."""

import itertools
import math

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from training import lfmmi  # noqa: E402

PHONES = 3


def brute(scores, bigram, line=None):
    """Sum over all frame-to-phone paths; line = (phones, optional) restricts the phone sequence."""
    frames = len(scores)
    allowed = None
    if line:
        phones, optional = line
        free = [i for i, o in enumerate(optional) if o]
        allowed = {
            tuple(p for i, p in enumerate(phones) if not (i in free and i in drop))
            for k in range(len(free) + 1)
            for drop in itertools.combinations(free, k)
        }
    total = 0.0
    for path in itertools.product(range(PHONES), range(2), repeat=frames):
        steps = list(zip(path[0::2], path[1::2], strict=True))  # (phone, 0 enter / 1 stay)
        if steps[0][1] == 1:
            continue
        if any(m == 1 and p != q for (q, _), (p, m) in itertools.pairwise(steps)):
            continue
        sequence = tuple(p for p, m in steps if m == 0)
        if allowed is not None and sequence not in allowed:
            continue
        weight = bigram.start[sequence[0]]
        for q, p in itertools.pairwise(sequence):
            weight *= bigram.arcs[q, p]
        total += weight * math.exp(sum(scores[t][2 * p + m] for t, (p, m) in enumerate(steps)))
    return math.log(total)


def arrays(lines, bigram, states=8):
    return {k: torch.tensor(v) for k, v in lfmmi.numerator_arrays(lines, bigram, states).items()}


@pytest.mark.parametrize("words", [[[1]], [[1, 2]], [[1], [2]], []])
def test_value_equals_brute_force(words):
    rng = np.random.default_rng(1)
    bigram = lfmmi.Bigram.count([[0, 1, 2, 0], [0, 2, 1]], PHONES)
    line = lfmmi.numerator_line(words)
    for frames in (2, 3, 4):
        scores = rng.normal(size=(frames, 2 * PHONES)) * 2
        padded = torch.tensor(np.concatenate([scores, rng.normal(size=(2, 2 * PHONES))]))[None]
        value, _, good = lfmmi.objective(
            padded,
            torch.tensor([frames]),
            arrays([line], bigram),
            torch.tensor(bigram.arcs),
            torch.tensor(bigram.start),
        )
        expected = brute(scores, bigram, line) - brute(scores, bigram)
        assert bool(good[0])
        assert float(value[0]) == pytest.approx(expected, abs=1e-5)


def test_gradient_equals_finite_difference():
    rng = np.random.default_rng(2)
    bigram = lfmmi.Bigram.count([[0, 1, 2, 0], [0, 2, 1]], PHONES)
    line = lfmmi.numerator_line([[1], [2]])
    scores = torch.tensor(rng.normal(size=(1, 4, 6)))
    args = (arrays([line], bigram), torch.tensor(bigram.arcs), torch.tensor(bigram.start))
    _, gradient, _ = lfmmi.objective(scores, torch.tensor([4]), *args)
    for t in range(4):
        for k in range(6):
            moved = []
            for sign in (1, -1):
                s = scores.clone()
                s[0, t, k] += sign * 1e-4
                moved.append(brute(s[0].tolist(), bigram, line) - brute(s[0].tolist(), bigram))
            assert float(gradient[0, t, k]) == pytest.approx((moved[0] - moved[1]) / 2e-4, abs=1e-5)


def test_a_text_longer_than_the_audio_is_left_out():
    bigram = lfmmi.Bigram.count([[0, 1, 2, 0]], PHONES)
    line = lfmmi.numerator_line([[1, 2, 1, 2]])
    value, gradient, good = lfmmi.objective(
        torch.zeros(1, 2, 6),
        torch.tensor([2]),
        arrays([line], bigram, 10),
        torch.tensor(bigram.arcs),
        torch.tensor(bigram.start),
    )
    assert not bool(good[0])
    assert float(value[0]) == 0
    assert float(gradient.abs().sum()) == 0
