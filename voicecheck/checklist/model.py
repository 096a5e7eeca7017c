"""What an author may write in a checklist, a hazards file and a settings block.

One reply kind a step. Facts are the whole memory of safety: ``needs`` must be true before a step
is even spoken, ``gives`` becomes true on the accepted good answer, ``ends`` becomes false when
the step is started. Only the answers listed under ``gives`` unlock anything: "not fitted", "not
done", "cannot see", a minor defect and a grouped "all good" give nothing.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

Words = Annotated[
    str, StringConstraints(pattern=r"^[a-z]+(?:['-]?[a-z]+)*(?: [a-z]+(?:['-]?[a-z]+)*)*$")
]
Sentence = Annotated[str, StringConstraints(min_length=1, max_length=400)]
Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9 -]*$", max_length=60)]


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FactModel(Strict):
    """A fact. ``lasts``: "lasting", "until left", or seconds as "60 s"."""

    text: Sentence
    lasts: Annotated[str, StringConstraints(pattern=r"^(lasting|until left|[1-9][0-9]{0,3} s)$")]


class Condition(Strict):
    """Any of, or all of, facts and further conditions."""

    any: tuple[str | Condition, ...] = ()
    all: tuple[str | Condition, ...] = ()

    @model_validator(mode="after")
    def _one(self) -> Condition:
        if bool(self.any) == bool(self.all):
            raise ValueError("write either any: or all:, with at least one fact")
        return self


class DerivedModel(Strict):
    text: Sentence
    any: tuple[str | Condition, ...] = ()
    all: tuple[str | Condition, ...] = ()

    @model_validator(mode="after")
    def _one(self) -> DerivedModel:
        if bool(self.any) == bool(self.all):
            raise ValueError("write either any: or all:, with at least one fact")
        return self


class DefectModel(Strict):
    """A defect of the closed list. The table decides the class, never the driver."""

    text: Sentence
    severity: Literal["minor", "major"] = Field(alias="class")
    blocks: tuple[str, ...] = ()
    mended_by: Literal["driver", "mechanic"] = Field(default="mechanic", alias="mended by")
    source: tuple[str, ...]


class SettingModel(Strict):
    """A lawful choice of the carrier, printed in the report."""

    text: Sentence
    choices: tuple[str, ...]
    default: str

    @model_validator(mode="after")
    def _listed(self) -> SettingModel:
        if self.default not in self.choices:
            raise ValueError("the default must be one of the choices")
        return self


class WhenModel(Strict):
    """When a step belongs to the walk; all that is written must hold."""

    season: Literal["winter", "summer"] | None = None
    jurisdiction: tuple[str, ...] = ()
    feature: tuple[str, ...] = ()
    without: tuple[str, ...] = ()  # features that the vehicle lacks
    setting: dict[str, str] = {}


class AnswerModel(Strict):
    also: tuple[Words, ...] = ()
    gives: tuple[str, ...] = ()
    again: str = ""
    third: str = ""
    defect: str = ""
    repeat: bool = False
    bad: bool = False
    say: str = ""

    @model_validator(mode="after")
    def _one_end(self) -> AnswerModel:
        ends = [bool(self.gives), bool(self.again), bool(self.defect), self.repeat, self.bad]
        if sum(ends) > 1:
            raise ValueError("an answer has one end: gives, again, defect, repeat or bad")
        if self.third and not self.again:
            raise ValueError("third: belongs to again:")
        return self


class VariantModel(Strict):
    ask: Sentence
    brief: str = ""
    answers: dict[Words, AnswerModel]


class DoneModel(Strict):
    """``good``, here and below: further words for the good state, such as name it."""

    good: tuple[Words, ...] = ()
    gives: tuple[str, ...] = ()


class VerdictModel(Strict):
    good: tuple[Words, ...] = ()
    gives: tuple[str, ...] = ()
    wrong: dict[Words, str] = {}
    not_fitted: bool = Field(default=False, alias="not fitted")


class MeasureModel(Strict):
    unit: str
    units: tuple[str, ...] = ()
    fractions: bool = False
    low: Annotated[str, StringConstraints(pattern=r"^\d+(\.\d+)?$")] = ""
    high: Annotated[str, StringConstraints(pattern=r"^\d+(\.\d+)?$")] = ""
    limit: str = ""
    given: dict[str, str] = {}
    outside: str = ""
    gives: tuple[str, ...] = ()


class ItemMeasureModel(MeasureModel):
    """The figure of one item of a group, asked by ``ask`` when the driver says that he has one."""

    ask: Sentence

    @model_validator(mode="after")
    def _judged(self) -> ItemMeasureModel:
        if not (self.limit and self.outside) or self.gives:
            raise ValueError("a measured item needs limit: and outside:, and gives nothing")
        return self


class GroupModel(Strict):
    """At most five items at one place; items from the vehicle by ``each``.

    More than five from the vehicle become several steps, each with its own items. ``measured``:
    what the driver may say of an item that he has measured.
    """

    items: tuple[Words, ...] = ()
    each: str = ""
    good: tuple[Words, ...] = ()
    wrong: dict[Words, str]
    measured: dict[Words, ItemMeasureModel] = {}

    @model_validator(mode="after")
    def _some(self) -> GroupModel:
        if bool(self.items) == bool(self.each):
            raise ValueError("write either items: or each:")
        if len(self.items) > 5:
            raise ValueError("at most five items a group: nobody can keep more in mind")
        if both := set(self.wrong) & set(self.measured):
            raise ValueError(f"{min(both)!r} is wrong: or measured:, not both")
        return self


class TimedModel(MeasureModel):
    seconds: Annotated[int, Field(ge=1, le=3600)]
    then: Sentence


class ClockedModel(Strict):
    """The time between two marks that the driver speaks, in begun seconds.

    ``then`` is spoken after the first mark; from there the program is silent. After ``most``
    seconds without a second mark the step is asked again.
    """

    then: Sentence
    limit: str = ""
    given: dict[str, str] = {}
    outside: str = ""
    gives: tuple[str, ...] = ()
    most: Annotated[int, Field(ge=10, le=3600)] = 300


class SpellModel(Strict):
    least: Annotated[int, Field(ge=1, le=20)] = 1
    most: Annotated[int, Field(ge=1, le=20)] = 8
    match: str = ""
    mismatch: str = ""
    gives: tuple[str, ...] = ()


class DateModel(Strict):
    """The last valid month or day; with ``valid`` the month or day of issue."""

    what: Sentence
    valid: Annotated[
        str, StringConstraints(pattern=r"^([1-9][0-9]? months|[1-9][0-9]{0,2} h)?$")
    ] = ""
    overdue: str = ""
    day: bool = False
    gives: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _fine_enough(self) -> DateModel:
        if self.valid.endswith(" h") and not self.day:
            raise ValueError("what is valid for hours is told by its day: write day: true")
        return self


class MemoModel(Strict):
    pass


class AttestModel(Strict):
    gives: tuple[str, ...] = ()


REPLY_KINDS = (
    "done", "verdict", "answers", "variants", "group", "measure", "timed", "clocked", "spell",
    "date", "memo", "attest",
)  # fmt: skip


class TogetherModel(Strict):
    """This step and those written next, asked in one sentence and answered in one breath.

    ``parts`` ("with"): the steps behind this one. ``ask`` names each of them, in this order.
    """

    parts: Annotated[tuple[Name, ...], Field(min_length=1, alias="with")]
    ask: Sentence
    brief: str = ""


class StepModel(Strict):
    id: Name
    place: str
    item: Sentence
    ask: str = ""
    brief: str = ""
    hazard: str = ""
    caution: str = ""
    explain: str = ""
    location: str = ""
    needs: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    each: str = ""
    after: tuple[str, ...] = ()
    when: WhenModel | None = None
    hands_busy: bool = Field(default=False, alias="hands busy")
    only_again: bool = Field(default=False, alias="only again")
    confirm: bool = False
    carry: Name | Literal[""] = ""
    look: Annotated[int, Field(ge=0, le=600)] = 2
    together: TogetherModel | None = None
    source: tuple[str, ...]
    done: DoneModel | None = None
    verdict: VerdictModel | None = None
    answers: dict[Words, AnswerModel] | None = None
    variants: tuple[VariantModel, ...] | None = None
    group: GroupModel | None = None
    measure: MeasureModel | None = None
    timed: TimedModel | None = None
    clocked: ClockedModel | None = None
    spell: SpellModel | None = None
    date: DateModel | None = None
    memo: MemoModel | None = None
    attest: AttestModel | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> StepModel:
        kinds = [kind for kind in REPLY_KINDS if getattr(self, kind) is not None]
        if len(kinds) != 1:
            raise ValueError(
                "a step has exactly one reply kind (" + ", ".join(REPLY_KINDS) + "); "
                f"this one has {', '.join(kinds) or 'none'}"
            )
        if (kinds[0] == "variants") == bool(self.ask):
            raise ValueError("write ask: on the step, or inside each of its variants, not both")
        if kinds[0] in ("answers", "variants") and self.answers == {}:
            raise ValueError("a step with answers needs at least one")
        return self


class ReckoningModel(Strict):
    """A figure reckoned from the readings of several steps when the last of them is accepted.

    ``from``: ids of steps, with all their instances, or instances by their full id. ``rule``: a
    name of voicecheck/limits/reckon.py, which also says by which limit the figure is judged. It
    gives no fact.
    """

    id: Name
    text: Sentence
    rule: str
    readings: Annotated[tuple[str, ...], Field(min_length=1, alias="from")]
    given: dict[str, str] = {}
    outside: str = ""
    source: tuple[str, ...]


class ChecklistModel(Strict):
    id: Name
    edition: str
    title: Sentence
    places: dict[str, Sentence]
    settings: dict[str, SettingModel] = {}
    facts: dict[str, FactModel]
    derived: dict[str, DerivedModel] = {}
    exclusive: tuple[tuple[str, str], ...] = ()
    defects: dict[Name, DefectModel] = {}
    steps: Annotated[tuple[StepModel, ...], Field(min_length=1)]
    reckonings: tuple[ReckoningModel, ...] = ()


class HazardModel(Strict):
    text: Sentence
    needs: tuple[str, ...] = ()
    caution: str = ""
    safe: Sentence
    moving: bool = False
    never_blocked: bool = Field(default=False, alias="never blocked")
    parts: bool = False  # the units are apart before or after it: no answer is carried across


class HazardsModel(Strict):
    hazards: dict[str, HazardModel]
