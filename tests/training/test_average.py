"""The mean of networks that began from the same weights."""

import subprocess
import sys

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from training import average, network  # noqa: E402


def test_a_mean_with_shares_and_counters_of_the_first():
    one = {"w": torch.tensor([1.0, 2.0]), "seen": torch.tensor(3)}
    two = {"w": torch.tensor([4.0, 8.0]), "seen": torch.tensor(9)}
    made = average.mean([one, two], [1, 2])
    assert torch.equal(made["w"], torch.tensor([3.0, 6.0]))  # (1 + 2 * 4) / 3, (2 + 2 * 8) / 3
    assert made["seen"] == 3


def test_the_mean_of_a_network_with_itself_is_that_network(tmp_path):
    net = network.Network(network.layers(16))
    network.write_weights(net.state_dict(), tmp_path / "one", half=True)
    command = [sys.executable, "-m", "training.average", "--out", str(tmp_path / "mean")]
    subprocess.run([*command, str(tmp_path / "one"), str(tmp_path / "one")], check=True)
    before, after = network.read_weights(tmp_path / "one"), network.read_weights(tmp_path / "mean")
    assert before.keys() == after.keys()
    assert all(np.allclose(before[k].float(), after[k].float(), atol=1e-6) for k in before)
