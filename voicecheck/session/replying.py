"""What may be said now, and what a parsed reply means for the session.

``expect`` makes the vocabulary of a state; ``Reply`` is one reply as the session passes it on,
also across a read-back, where it travels as text inside the record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from voicecheck.checklist.breath import PLAIN, joint_phrases
from voicecheck.checklist.compiled import Answer, Compiled, Reading, Step
from voicecheck.reply.grammar import (
    DateForm,
    Expect,
    Form,
    NumberForm,
    SpellForm,
    Understood,
    read_back,
)
from voicecheck.reply.phrases import also_said, command_forms
from voicecheck.session.state import Phase, State
from voicecheck.units import Quantity

CODE_FIGURES = 6
WHY_NOT_DONE = ("too dark", "cannot reach", "weather", "no tool", "other reason")

COMMANDS_ASKED = (
    "say again",
    "explain",
    "location",
    "read back",
    "stand by",
    "correction",
    "disregard",
    "not done",
    "cannot see",
    "next place",
    "memo",
    "brief",
    "full",
    "end inspection",
)
COMMANDS = {
    Phase.ASKED: COMMANDS_ASKED,
    Phase.FOLLOWING: ("say again", "explain", "stand by", "correction", "disregard",
                      "end inspection"),
    Phase.READING: ("say again", "stand by", "correction", "disregard", "end inspection"),
    Phase.TIMING: ("time left", "stand by", "correction", "disregard", "end inspection"),
    Phase.CLOCKING: ("say again", "stand by", "correction", "disregard", "end inspection"),
    Phase.STOPPED: ("say again", "explain", "location", "read back", "stand by", "correction",
                    "memo", "end inspection"),
    Phase.ASKING: ("say again", "stand by", "disregard"),
    Phase.CODING: ("say again", "stand by", "disregard", "end inspection"),
    Phase.STANDING: ("go ahead", "end inspection"),
}  # fmt: skip
# Replies that change nothing which matters: taken at once even when the ear is in doubt.
HARMLESS = frozenset(
    f"command:{name}"
    for name in ("say again", "explain", "location", "read back", "time left", "stand by",
                 "brief", "full", "memo", "correction", "disregard", "end inspection", "go ahead")
) | {"fail", "affirm", "negative", "mark"}  # fmt: skip
# A mark alone is no answer: the time between two of them is read back.


_JOINT, _AND = "joint:", "|"  # meaning of a joint reply: those of its parts in order

NOTHING_ELSE = Form("nothing else", ("nothing else", "negative", "no"))


def forms(*names: str) -> tuple[Form, ...]:
    """The forms of words of the reply table, e.g. pass and fail."""
    return command_forms(names)


def meanings(meaning: str) -> tuple[str, ...]:
    """What a reply means to each part that it answers, in order; one where it is no joint one."""
    return tuple(meaning.removeprefix(_JOINT).split(_AND))


def in_words(compiled: Compiled, state: State, understood: Understood) -> str:
    """A reply for reading back, a joint one part by part."""
    if not understood.meaning.startswith(_JOINT):
        return read_back(understood)
    steps = [compiled.step(id) for id in state.breath]
    wanted = meanings(understood.meaning)
    parts = [_words_of(step, meaning) for step, meaning in zip(steps, wanted, strict=False)]
    return ", ".join(parts)


def _words_of(step: Step, meaning: str) -> str:
    kind, _, rest = meaning.partition(":")
    return step.good[0] if meaning in PLAIN.values() else rest.replace(":", " ") or kind


@dataclass(frozen=True)
class Reply:
    """A reply that was understood. ``heard`` is the number of its record."""

    meaning: str
    text: str
    quantity: Quantity | None = None
    spelled: str = ""
    date: str = ""
    heard: int = 0

    @classmethod
    def of(cls, understood: Understood, heard: int) -> Reply:
        return cls(
            understood.meaning,
            understood.text,
            understood.quantity,
            understood.spelled,
            understood.date,
            heard,
        )

    def to_text(self) -> str:
        quantity = str(self.quantity) if self.quantity else ""
        return "\t".join(
            (self.meaning, self.text, quantity, self.spelled, self.date, str(self.heard))
        )

    @classmethod
    def from_text(cls, text: str) -> Reply:
        meaning, words, quantity, spelled, date, heard = text.split("\t")
        return cls(
            meaning,
            words,
            Quantity.parse(quantity) if quantity else None,
            spelled,
            date,
            int(heard),
        )


def expect(compiled: Compiled, state: State) -> tuple[Expect, frozenset[str]]:
    """What may be said in this state, and which of its phrases pass or unlock something."""
    commands = list(forms(*COMMANDS.get(state.phase, ())))
    if state.phase is Phase.ASKED:
        commands += _named_corrections(compiled, state)
    step = compiled.step(state.step) if state.step else None
    if state.phase is Phase.ASKED and step:
        own = _step_forms(step, state.variant)
        joint = _joint_forms(compiled, state)
        careful = frozenset(text for form in joint for text in form.said)
        return _expect(step, (*own, *joint, *commands)), careful | _careful(step, state.variant)
    if state.phase is Phase.TIMING and step:
        return _expect(step, tuple(commands)), frozenset()
    if state.phase is Phase.CLOCKING:
        return Expect((*forms("mark"), *commands)), frozenset()
    if state.phase is Phase.FOLLOWING and step:
        own = _follow_up_forms(step, state)
        if state.question == "second reading":
            return _expect(step, (*own, *commands)), frozenset()
        if state.question == "reading":
            number = _number(reading_asked(step, state))
            return Expect((*forms("negative"), *commands), number), frozenset()
        if state.question == "anything else":
            return Expect((*own, *commands)), frozenset(NOTHING_ELSE.said)
        return Expect((*own, *forms("negative"), *commands)), frozenset()
    if state.phase in (Phase.READING, Phase.ASKING):
        yes_no = forms("affirm", "negative")
        return Expect((*yes_no, *commands)), frozenset(yes_no[0].said)
    if state.phase is Phase.STOPPED:
        codes = state.opened is not None and state.opened.codes
        own = _ways_out(codes) if state.hold == "stop" else ()
        return Expect((*own, *commands)), frozenset()
    if state.phase is Phase.CODING:
        return Expect(tuple(commands), spell=SpellForm(CODE_FIGURES, CODE_FIGURES)), frozenset()
    return Expect(tuple(commands)), frozenset()


def _ways_out(codes: bool) -> tuple[Form, ...]:
    """What leads out of a stop."""
    return forms("carry on", "release", "mended", *(("by code",) if codes else ()))


def _expect(step: Step, all_forms: tuple[Form, ...]) -> Expect:
    number = _number(step.reading if step.kind != "clocked" else None)
    spell = SpellForm(step.spelling.least, step.spelling.most) if step.spelling else None
    date = DateForm(day=step.date.day) if step.date else None
    return Expect(all_forms, number, spell, date)


def _number(reading: Reading | None) -> NumberForm | None:
    if reading is None:
        return None
    return NumberForm(
        unit=reading.unit,
        units=reading.units,
        fractions=reading.fractions,
        low=reading.low,
        high=reading.high,
    )


def reading_asked(step: Step, state: State) -> Reading | None:
    """The figure that is asked: that of the step, or in a follow-up that of one of its items."""
    if state.question != "reading":
        return step.reading
    return item_reading(step, state.about)[2]


def item_reading(step: Step, about: str) -> tuple[str, str, Reading]:
    """Item, finding and figure of "item:finding", what a follow-up for a figure is about."""
    name, _, finding = about.partition(":")
    return name, finding, next(dict(x.measured)[finding] for x in step.items if x.name == name)


def _joint_forms(compiled: Compiled, state: State) -> tuple[Form, ...]:
    """What answers several parts of the present question; each needs what its best part needs."""
    steps = [compiled.step(id) for id in state.breath]
    return tuple(
        Form(_JOINT + _AND.join(parts), ways)
        for parts, ways in (joint_phrases(steps) if steps else ())
    )


def _good_forms(step: Step, *names: str) -> tuple[Form, ...]:
    """The plain words, the first of them with the author's own for the good state."""
    first, *others = forms(*names)
    return (Form(first.meaning, (*first.said, *step.good)), *others)


def _step_forms(step: Step, variant: int) -> tuple[Form, ...]:
    if step.kind == "done":
        return _good_forms(step, "done", "pass")
    if step.kind == "verdict":
        fitted = forms("not fitted") if step.not_fitted else ()
        wrong = tuple(Form(f"wrong:{finding}", also_said(finding)) for finding, _ in step.wrong)
        passed, failed = _good_forms(step, "pass", "fail")
        if not step.gives:  # what drivers say of several lamps; it never unlocks (H2)
            passed = Form(passed.meaning, (*passed.said, *forms("all good")[0].said))
        return (passed, failed, *fitted, *wrong)
    if step.kind == "answers":
        answers = step.variants[variant].answers
        taken = {phrase for answer in answers for phrase in answer.said}
        # heard so that they can be refused by name, unless they are an answer here
        plain = tuple(
            kept
            for form in forms("pass", "done", "fail")
            if (kept := _less(form, taken)) is not None
        )
        return (*_answer_forms(answers), *plain)
    if step.kind == "group":
        return (*_good_forms(step, "all good", "pass", "fail"), *_item_forms(step))
    if step.kind == "clocked":
        return forms("mark")
    if step.kind == "attest":
        affirm, negative = forms("affirm", "negative")
        return (Form("answer:affirm", affirm.said), Form("answer:negative", negative.said))
    return ()


def _answer_forms(answers: tuple[Answer, ...]) -> tuple[Form, ...]:
    """Each answer as written and as drivers say it; words that two answers share are left out."""
    written = [phrase for answer in answers for phrase in answer.said]
    ways = {
        answer.id: tuple(
            way
            for way in dict.fromkeys(w for phrase in answer.said for w in also_said(phrase))
            if way in answer.said or way not in written
        )
        for answer in answers
    }
    return tuple(Form(f"answer:{answer.id}", ways[answer.id]) for answer in answers)


def _less(form: Form, taken: set[str]) -> Form | None:
    said = tuple(phrase for phrase in form.said if phrase not in taken)
    return Form(form.meaning, said) if said else None


def _item_forms(step: Step) -> tuple[Form, ...]:
    return tuple(
        form
        for item in step.items
        for form in (
            Form(f"item:{item.name}", item.said),
            *(
                Form(f"item:{item.name}:{finding}", tuple(f"{s} {finding}" for s in item.said))
                for finding in item.findings
            ),
        )
    )


def _follow_up_forms(step: Step, state: State) -> tuple[Form, ...]:
    if state.question == "which":
        if step.kind == "group":
            return _item_forms(step)
        return tuple(Form(f"wrong:{finding}", (finding,)) for finding, _ in step.wrong)
    if state.question == "finding":
        item = next(item for item in step.items if item.name == state.about)
        return tuple(Form(f"item:{item.name}:{said}", (said,)) for said in item.findings)
    if state.question == "anything else":
        return (NOTHING_ELSE, *_item_forms(step))
    if state.question == "why":
        return tuple(Form(f"why:{reason}", (reason,)) for reason in WHY_NOT_DONE)
    return ()


def _careful(step: Step, variant: int) -> frozenset[str]:
    if step.kind == "answers":
        return frozenset(
            phrase
            for answer in step.variants[variant].answers
            if answer.gives or not (answer.again or answer.defect or answer.repeat or answer.bad)
            for phrase in answer.said
        )
    names = {
        "done": ("done", "pass"),
        "verdict": ("pass", "all good"),
        "group": ("all good", "pass"),
        "attest": ("affirm",),
    }.get(step.kind, ())
    return frozenset((*step.good, *(phrase for form in forms(*names) for phrase in form.said)))


def correctable(compiled: Compiled, state: State) -> dict[str, str]:
    """Spoken item name to step, for answers that can be reopened by name: latest first."""
    named: dict[str, str] = {}
    for id in reversed(state.order):
        spoken = spoken_item(compiled.step(id).item)
        if spoken and spoken not in named:
            named[spoken] = id
    return named


def spoken_item(item: str) -> str:
    """The item as words of a reply, or "" when it cannot be one."""
    spoken = "".join(c if c.isalpha() else " " for c in item.lower()).split()
    return " ".join(spoken) if spoken and len(spoken) <= 5 else ""


def _named_corrections(compiled: Compiled, state: State) -> list[Form]:
    return [
        Form(f"command:correction:{id}", tuple(f"correction {way}" for way in also_said(spoken)))
        for spoken, id in correctable(compiled, state).items()
    ]


def vocabularies(compiled: Compiled) -> tuple[Expect, ...]:
    """What may be said to each question of the checklist, its follow-ups and its commands."""
    found = []
    every = tuple(step.id for step in compiled.steps)  # each can be corrected by its name
    for step in compiled.steps:
        for variant in range(len(step.variants)):
            asked = State(phase=Phase.ASKED, step=step.id, variant=variant, order=every)
            found.append(expect(compiled, asked)[0])
            if step.together:
                joint = replace(asked, breath=step.together.steps)
                found.append(expect(compiled, joint)[0])
        questions = ["which"] if step.wrong or step.items else []
        questions += ["anything else"] if step.items else []
        for question in (*questions, "why"):
            following = State(phase=Phase.FOLLOWING, step=step.id, question=question)
            found.append(expect(compiled, following)[0])
        for item in step.items[:1]:  # the others are measured alike
            for finding, _ in item.measured:
                about = f"{item.name}:{finding}"
                following = State(
                    phase=Phase.FOLLOWING, step=step.id, question="reading", about=about
                )
                found.append(expect(compiled, following)[0])
    for phase in (Phase.READING, Phase.TIMING, Phase.CLOCKING, Phase.ASKING, Phase.STANDING,
                  Phase.CODING):  # fmt: skip
        found.append(expect(compiled, State(phase=phase, step=compiled.steps[0].id))[0])
    found.append(Expect((*_ways_out(True), *forms(*COMMANDS[Phase.STOPPED]))))
    return tuple(found)
