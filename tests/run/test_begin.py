"""Before an inspection: what is resumed or begun is chosen by voice, by a key, or typed."""

from __future__ import annotations

import json
import shutil
import signal
import time
from collections import deque
from dataclasses import replace
from pathlib import Path

import pytest

from tests.run.cli_process import command
from tests.run.day import MORNING
from tests.run.yard import Card, Program
from voicecheck.audio.ear import Ear
from voicecheck.audio.sphinx_recogniser import SphinxRecogniser
from voicecheck.audio.vosk_recogniser import VoskRecogniser
from voicecheck.audio.wav import read_wav
from voicecheck.authoring.lint import lint_names
from voicecheck.checklist.order import Order, OrderedUnit
from voicecheck.run.begin import choices, due_sentence, expectations, spoken
from voicecheck.run.choosing import TABLE, Ask, Choice, Choosing, KeyPressed
from voicecheck.run.clock import CompressedClock
from voicecheck.run.driver import Recording
from voicecheck.run.due import Due
from voicecheck.run.hearing import Hearing
from voicecheck.run.library import shipped
from voicecheck.run.loop import before
from voicecheck.run.rehearsal import RehearsalWorld
from voicecheck.session import actions as a
from voicecheck.session import events as e
from voicecheck.session.records import Stamp

NOW = Stamp(MORNING, 0)
VAN = "tractor-semitrailer"


def talk(list: str = "", unfinished: str = "", order: Order | None = None) -> Choosing:
    offer = choices(Choice(list=list, vehicle=VAN), order=order)
    chooser = Choosing(replace(offer, unfinished=unfinished))
    chooser.opening()
    return chooser


def says(actions: list[a.Action]) -> str:
    return " ".join(x.text for x in actions if isinstance(x, a.Say))


def hear(chooser: Choosing, *replies: str, certainty: str = "clear") -> str:
    """What is said after the last of these."""
    said = ""
    for words in replies:
        said = says(chooser.receive(e.ReplyHeard(at=NOW, words=words, certainty=certainty)))
    return said


def test_list_vehicle_place_and_season_are_chosen_by_speaking() -> None:
    chooser = talk()
    said = hear(chooser, "trip inspection", "vehicle", "tractor tri axle", "season", "winter")
    assert "Begin: trip inspection, tractor tri axle, ontario, winter." in said
    assert "british columbia" in hear(chooser, "change jurisdiction", "british columbia")
    assert not chooser.over
    hear(chooser, "affirm")
    assert (chooser.over, chooser.outcome) == (True, "begin")
    assert chooser.choice == Choice("trip-inspection", "tractor-tridem", "CA-BC", "winter")


def test_a_doubtful_choice_is_read_back_and_a_doubtful_affirm_is_taken_like_in_a_walk() -> None:
    chooser = talk()
    assert hear(chooser, "couple", certainty="doubtful") == (
        "I heard: couple. Affirm, or negative?"
    )
    assert "I heard: couple" in hear(chooser, "uncouple")  # only affirm or negative here
    assert "Which list?" in hear(chooser, "negative")
    hear(chooser, "uncouple", certainty="doubtful")
    assert "Begin: uncouple" in hear(chooser, "affirm", certainty="doubtful")


def test_what_is_unfinished_is_offered_first_and_another_list_may_be_named_at_once() -> None:
    chooser = talk(unfinished="couple at: landing gear")
    assert chooser.question() == "Resume couple at: landing gear? Affirm, or which list?"
    assert "Begin: cargo" in hear(chooser, "cargo")
    again = talk(unfinished="couple at: landing gear")
    hear(again, "affirm")
    assert again.outcome == "resume"
    assert "Which list?" in hear(talk(unfinished="couple"), "negative")


def test_one_key_begins_the_days_list_and_no_question_else() -> None:
    chooser = talk("couple")
    chooser.receive(KeyPressed(at=NOW))
    assert chooser.outcome == "begin"
    chooser = talk()
    assert "Which list?" in says(chooser.receive(KeyPressed(at=NOW)))
    assert not chooser.over


@pytest.mark.parametrize("ask", list(Ask))
def test_the_key_and_affirm_do_the_same_at_every_question(ask: Ask) -> None:
    chooser = talk("couple", "couple")
    chooser._ask = ask
    chooser.receive(KeyPressed(at=NOW))
    assert chooser.outcome == TABLE[ask].affirm


def test_the_key_does_nothing_while_the_driver_stands_by() -> None:
    chooser = talk("couple")
    assert hear(chooser, "stand by") == "Standing by. Say go ahead."
    chooser.receive(KeyPressed(at=NOW))
    assert not chooser.over
    assert hear(chooser, "affirm") != ""
    assert "Begin: couple" in hear(chooser, "go ahead")


def test_what_cannot_be_begun_is_said_with_its_reason() -> None:
    order = Order(order="HL-1", units={"dolly": OrderedUnit(number="D-1")})
    chooser = talk(order=order)
    said = hear(chooser, "couple")
    assert said.startswith("That cannot be begun. The order 'HL-1' names a dolly")
    assert said.endswith("vehicle?")
    assert "That cannot be begun." in says(Choosing(
        choices(Choice(list="couple", vehicle=VAN), order=order)).opening())  # fmt: skip


def test_noise_is_answered_twice_and_then_no_more_until_somebody_speaks() -> None:
    chooser = talk()
    noise = e.SoundRefused(at=NOW, why="talk")
    heard = [chooser.receive(noise) for _ in range(5)]
    assert [bool(x) for x in heard] == [True, True, False, False, False]
    assert "Begin: couple" in hear(chooser, "couple")


def test_a_question_is_repeated_once_by_itself() -> None:
    chooser = Choosing(choices(Choice(vehicle=VAN)))
    first = chooser.opening()
    assert any(isinstance(x, a.StartTimer) for x in first)
    second = chooser.receive(e.TimerElapsed(at=NOW, name="quiet"))
    assert "Which list?" in says(second)
    assert not any(isinstance(x, a.StartTimer) for x in second)


def test_what_is_overdue_is_one_sentence() -> None:
    def line(what: str, overdue: bool) -> Due:
        return Due(what, "", "", overdue, "", "x", 1)

    assert due_sentence([line("retention", False), line("paper", False)]) == ""
    found = [line("cargo check", True), line("paper", True), line("paper", True),
             line("stop", False)]  # fmt: skip
    assert due_sentence(found) == (
        "Due now: the check of the cargo, a paper, and a stop that is not released."
    )


@pytest.mark.parametrize("engine", [SphinxRecogniser, VoskRecogniser])
def test_every_name_can_be_heard_and_told_apart(engine: type) -> None:
    offer = choices(Choice(vehicle=VAN))
    assert lint_names(expectations(offer), [engine()]) == []


def test_names_that_sound_alike_are_found(tmp_path: Path) -> None:
    for name in ("wear", "where", "zlotnik"):
        (tmp_path / f"{name}.yaml").write_text("x")
    found = lint_names(expectations(choices(Choice(vehicle=VAN), tmp_path)), [SphinxRecogniser()])
    assert {x.rule for x in found} == {"alike", "word"}
    assert any("'wear' and 'where'" in x.why for x in found)


def test_names_are_spoken_as_plain_words() -> None:
    assert spoken("Québec") == "quebec"
    assert spoken("folder/my-reefer-2.yaml") == "my refrigerated"


def test_a_spoken_affirm_through_the_real_ear_begins_and_keeps_no_sound(tmp_path: Path) -> None:
    clip = read_wav(shipped("drives") / "all-good" / "clips" / "affirm-1.flac")
    sound = bytes(32000) + clip + bytes(48000)
    chooser = talk("couple")
    world = RehearsalWorld(
        Recording(sound), Hearing(Ear(VoskRecogniser())), CompressedClock(), deque().append
    )
    before(chooser, world)
    assert chooser.outcome == "begin"
    assert list(tmp_path.iterdir()) == []


def test_typed_from_nothing_to_a_walk_and_back_to_it(tmp_path: Path) -> None:
    first = command(tmp_path, "begin", "--typed", said="couple\nseason\nwinter\naffirm\n")
    assert "Begin: couple, tractor semitrailer, united states, winter." in first.stdout
    assert "Go on with" in first.stdout
    again = command(tmp_path, "begin", "--typed", said="affirm\n")
    assert "Resume couple at: " in again.stdout
    assert "Resuming." in again.stdout
    assert len(list((tmp_path / "inspections").iterdir())) == 1


def test_nothing_is_written_before_the_inspection_opens(tmp_path: Path) -> None:
    done = command(tmp_path, "begin", "--typed", said="couple\nseason\n")
    assert done.returncode == 1
    assert "Nothing was begun." in done.stderr
    assert not (tmp_path / "inspections").exists()


@pytest.mark.skipif(not shutil.which("pulseaudio"), reason="PulseAudio is not installed")
@pytest.mark.xdist_group("sound card")
@pytest.mark.parametrize("by", ["key", "voice"])
def test_power_on_to_the_first_question_with_one_key_or_one_word(tmp_path: Path, by: str) -> None:
    clip = read_wav(shipped("drives") / "all-good" / "clips" / "affirm-1.flac")
    with Card() as card:
        program = Program(card, "couple", "--into", str(tmp_path / "out"), command="begin")
        until = time.monotonic() + 60
        while "Begin: couple" not in "\n".join(program.seen) and time.monotonic() < until:
            program.hear(0.2)
        assert not (tmp_path / "out").exists()
        if by == "key":
            assert program.process.stdin is not None
            program.process.stdin.write("\n\n\n")  # in gloves it is pressed more than once
            program.process.stdin.flush()
        else:
            for _ in range(8):  # without a headset a reply counts when the question is over
                program.hear(5)
                if "> affirm" in program.seen:
                    break
                card.speak(clip)
        program.hear(6)
        program.process.send_signal(signal.SIGINT)
        program.process.wait(20)
        program.hear(0.5)
    assert (tmp_path / "out").exists(), "\n".join(program.seen)
    (folder,) = (tmp_path / "out").iterdir()
    kinds = [json.loads(x)["kind"] for x in (folder / "journal.jsonl").read_text().splitlines()]
    assert kinds[:2] == ["opened", "step started"], "\n".join(program.seen)
    assert "answered" not in kinds, "a press too many answers nothing"
