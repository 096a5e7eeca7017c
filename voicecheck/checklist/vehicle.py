"""A vehicle description: its units, axles, wheels, brakes, lamps, cargo and features.

Rules of this file:

1. Steps written with ``each:`` expand over the vehicle's positions; groups take their items from
   it. Nothing about a vehicle is written into the program.
2. Positions come in walking order: on the left from front to rear, on the right from rear to front.
3. What a limit must know of a position or of the vehicle is handed over as ``given``, in the words
   of ``voicecheck.limits.table.INPUTS``. What the file does not say is not handed over: the limit
   then cannot be judged. Nothing is assumed.
4. Without ``lamps`` of its own a unit has those of the law (voicecheck/checklist/lamps.py).

The JSON Schema: ``python -m voicecheck.checklist.vehicle``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Literal

from pydantic import Field, PlainValidator, StringConstraints, WithJsonSchema, model_validator

from voicecheck.checklist.lamps import AREAS, lamps_of
from voicecheck.checklist.model import Strict, Words
from voicecheck.errors import ChecklistError, UnknownInput, VoicecheckError
from voicecheck.limits.judge import check_inputs
from voicecheck.units import Quantity

ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh")
UNIT_KINDS = ("tractor", "trailer", "dolly")
UNIT_WORDS = frozenset((*UNIT_KINDS, *(f"{nth} {kind}" for nth in ORDINALS for kind in UNIT_KINDS)))


def _quantity(kind: str, value: object) -> Quantity:
    if isinstance(value, Quantity):
        return value
    try:
        quantity = Quantity.parse(str(value))
    except VoicecheckError as error:
        raise ValueError(f"{error.what} {error.how}") from None
    if quantity.unit.kind != kind or quantity.value <= 0:
        raise ValueError(f"{value!r} is no {kind} above zero; write a figure and its unit")
    return quantity


def _schema(example: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "examples": [example]})


Length = Annotated[Quantity, PlainValidator(partial(_quantity, "length")), _schema("53 ft")]
Mass = Annotated[Quantity, PlainValidator(partial(_quantity, "mass")), _schema("65000 lb")]
Pressure = Annotated[Quantity, PlainValidator(partial(_quantity, "pressure")), _schema("125 psi")]
Volume = Annotated[Quantity, PlainValidator(partial(_quantity, "volume")), _schema("5600 in3")]
Month = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])$")]
Date = Annotated[
    str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?$")
]
Number = Annotated[str, StringConstraints(min_length=1, max_length=20)]


class Checked(Strict):
    """Whoever gives a limit a value that it cannot know is told here, not on the road."""

    def given(self) -> dict[str, str]:
        raise NotImplementedError

    @model_validator(mode="after")
    def _inputs(self) -> Checked:
        try:
            check_inputs(self.given())
        except UnknownInput as error:
            raise ValueError(f"{error.what} {error.how}") from None
        return self


class Brake(Checked):
    """The air brake of one wheel end; both ends of an axle are alike (49 CFR 393.47)."""

    chamber: str = ""  # type as marked: "30", "bolt C", "rotochamber 24", "other"
    long_stroke: bool | Literal["3 inch", "unknown"] = Field(default=False, alias="long stroke")
    rated_stroke: Length | None = Field(default=None, alias="rated stroke")  # marked on "other"
    style: Literal["", "drum", "disc"] = ""
    lining: Literal["", "continuous strip", "two pads"] = ""
    adjuster: Literal["", "automatic", "manual"] = ""

    def given(self) -> dict[str, str]:
        return _stated(
            {
                "brake": self.style and f"air {self.style}",
                "chamber type": self.chamber,
                "long stroke": self.long_stroke != "unknown" and _yes(self.long_stroke),
                "rated stroke": self.rated_stroke,
                "lining style": self.lining,
                "slack adjuster": self.adjuster,
            }
        )


class Axle(Strict):
    """One axle. ``name`` as a driver would say it; left out, it follows from its place."""

    name: Words = ""
    position: Literal["steer", "drive", "trailer"]
    wheels: Literal["single", "dual"]
    short: Words = ""  # among the axles of its unit: "front", "middle", "rear"
    brake: Brake | None = None


class Air(Checked):
    """The air system of the tractor. Reservoirs are the tractor's only (49 CFR 571.121 S5.1.1)."""

    system: Literal["", "dual", "single"] = ""
    cut_out: Pressure | None = Field(default=None, alias="cut-out")
    reservoirs: Volume | None = None
    required: Volume | None = None  # what S5.1.2 asks for this tractor

    def given(self) -> dict[str, str]:
        return _stated(
            {
                "air system": self.system,
                "governor cut-out": self.cut_out,
                "actual reservoir volume": self.reservoirs,
                "required reservoir volume": self.required,
            }
        )


class Steering(Checked):
    wheel: Length | None = None  # diameter of the steering wheel
    power: bool

    def given(self) -> dict[str, str]:
        return _stated({"power steering": _yes(self.power), "wheel diameter": self.wheel})


class UnitModel(Strict):
    """One unit of the combination. ``number`` and ``plate`` are spoken by their last four signs."""

    kind: Literal["tractor", "trailer", "dolly"]
    number: Number
    plate: str = ""
    built: Month | Literal[""] = ""
    inspected: Date | Literal[""] = ""  # the last periodic inspection
    length: Length | None = None
    width: Length | None = None
    gvwr: Mass | None = None
    suspension: Literal["", "air", "spring"] = ""
    axles: Annotated[tuple[Axle, ...], Field(max_length=len(ORDINALS))] = ()
    air: Air | None = None
    steering: Steering | None = None
    # area ("rear", "left side") to the names of its lamps; left out: those of the law
    lamps: dict[str, tuple[Words, ...]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _own_axles(self) -> UnitModel:
        own = ("steer", "drive") if self.kind == "tractor" else ("trailer",)
        for axle in self.axles:
            if axle.position not in own:
                raise ValueError(f"an axle of a {self.kind} is {' or '.join(own)}")
        if self.kind != "tractor" and (self.air or self.steering):
            raise ValueError("air and steering belong to the tractor")
        return self


class TieDown(Checked):
    """A kind of tie-down on board. ``marked``: the working load limit on its tag or its links."""

    name: Words
    kind: Literal["strap", "chain", "rope"]
    size: str  # width of webbing or diameter, in inches: "4", "3/8"
    grade: str = ""  # of chain: "70", or "unmarked"
    use: Literal["direct", "over"]  # to the article or back to the same side; over it, across
    marked: Mass | None = None

    def given(self) -> dict[str, str]:
        size = {"strap": "webbing width", "chain": "chain size", "rope": "rope size"}[self.kind]
        grade = self.grade or ("unmarked" if self.kind == "chain" else "")
        return _stated(
            {size: self.size, "chain grade": grade, "use": self.use, "marked limit": self.marked}
        )


class Cargo(Strict):
    """The article that is tied down. ``blocked``: kept from moving forward by a wall or block."""

    weight: Mass | None = None
    length: Length | None = None
    blocked: bool | None = None
    tie_downs: tuple[TieDown, ...] = Field(default=(), alias="tie-down kinds")

    def given(self) -> dict[str, str]:
        return _stated(
            {
                "article weight": self.weight,
                "article length": self.length,
                "blocked": None if self.blocked is None else _yes(self.blocked),
            }
        )

    def said(self) -> str:
        """Weight, length and what holds it in front, as far as they are known."""
        held = {True: "blocked in front", False: "not blocked in front", None: ""}[self.blocked]
        sizes = [size.spoken() for size in (self.weight, self.length) if size]
        return ", ".join([*sizes, *([held] if held else [])])


class Vehicle(Strict):
    name: str
    jurisdiction: str = "US"
    written: tuple[str, ...] = Field(default=(), alias="features")
    units: Annotated[tuple[UnitModel, ...], Field(min_length=1, max_length=len(ORDINALS))]
    cargo: Cargo | None = None

    @model_validator(mode="after")
    def _combination(self) -> Vehicle:
        kinds = [unit.kind for unit in self.units]
        if "tractor" in kinds[1:]:
            raise ValueError("the tractor comes first, and there is one")
        for n, kind in enumerate(kinds):
            if kind == "dolly" and (n == 0 or kinds[n - 1] != "trailer"
                                    or kinds[n + 1 : n + 2] != ["trailer"]):  # fmt: skip
                raise ValueError("a dolly stands between two trailers")
        names = [place.name for place in _axles(self)]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"two axles are called {name!r}")
        return self

    @property
    def features(self) -> frozenset[str]:
        """What the file lists, and what its other keys say."""
        brakes = [axle.brake for unit in self.units for axle in unit.axles if axle.brake]
        towed = [unit for unit in self.units if unit.kind != "tractor"]
        found = {
            "trailer": any(unit.kind == "trailer" for unit in towed),
            "dolly": any(unit.kind == "dolly" for unit in towed),
            "doubles": sum(unit.kind == "trailer" for unit in towed) > 1,
            "air suspension": any(unit.suspension == "air" for unit in self.units),
            "spring suspension": any(unit.suspension == "spring" for unit in self.units),
            "dual wheels": any(a.wheels == "dual" for unit in self.units for a in unit.axles),
            "drum brakes": any(brake.style == "drum" for brake in brakes),
            "disc brakes": any(brake.style == "disc" for brake in brakes),
            "automatic adjusters": any(brake.adjuster == "automatic" for brake in brakes),
            "manual adjusters": any(brake.adjuster == "manual" for brake in brakes),
            # a lamp of its own on trailers and dollies made from 1 March 1998 (49 CFR 393.55)
            "abs lamp": any(unit.built >= "1998-03" for unit in towed),
            "tie-downs": bool(self.cargo and self.cargo.tie_downs),
            "load blocked": bool(self.cargo and self.cargo.blocked),
        }
        return frozenset((*self.written, *(name for name, has in found.items() if has)))

    def unit_names(self) -> tuple[str, ...]:
        """ "tractor", "trailer"; with several of a kind "first trailer", "second trailer"."""
        kinds = [unit.kind for unit in self.units]
        return tuple(
            f"{ORDINALS[kinds[:n].count(kind)]} {kind}" if kinds.count(kind) > 1 else kind
            for n, kind in enumerate(kinds)
        )

    def numbers(self) -> tuple[tuple[str, str], ...]:
        """What is compared with what is spelled: number by unit, plate by "UNIT plate"."""
        return tuple(
            (name, value)
            for unit_name, unit in zip(self.unit_names(), self.units, strict=True)
            for name, value in ((unit_name, unit.number), (f"{unit_name} plate", unit.plate))
            if value
        )

    def given(self) -> dict[str, str]:
        """What limits may ask of the vehicle as a whole, as far as the file says it."""
        count = len(self.units)
        known = {"combination": {1: "no", 2: "yes"}.get(count, "three or more units")}
        for unit in self.units:
            known |= unit.air.given() if unit.air else {}
            known |= unit.steering.given() if unit.steering else {}
            if unit.kind == "tractor" and unit.built:
                # 49 CFR 571.121 binds air-braked tractors from March 1975 (date from memory)
                known["fmvss 121"] = _yes(unit.built >= "1975-03")
                known["made from march 1997"] = _yes(unit.built >= "1997-03")
        return known


@dataclass(frozen=True)
class Position:
    """Where a step is done: an id for the record, words for the voice, facts for the limits."""

    id: str
    said: str
    given: Mapping[str, str]
    also: tuple[str, ...] = ()  # other words that stand for it where nothing else can be meant


def positions(vehicle: Vehicle, of: str) -> tuple[Position, ...]:
    """The positions of a kind, narrowed by words with dots between: ``wheels.trailer.left``.

    Kinds: axles, wheels, brakes (of all units), tires.SIDE (of what is towed, or with a unit),
    lamps.AREA (the same), units, trailers, cargo, tie-down kinds. Words: left, right; a unit
    (tractor, trailer, dolly, first-trailer ...); steer, drive (axles); manual, automatic (brakes,
    by their adjusters). What the vehicle lacks gives nothing. ChecklistError for an unknown kind or
    word.
    """
    kind, *words = of.split(".")
    makers: dict[str, Callable[[_Filter], Iterator[Position]]] = {
        "axles": _axle_positions,
        "wheels": _wheels,
        "brakes": _brakes,
        "tires": _tires,
        "lamps": _lamps,
        "units": _units,
        "trailers": partial(_units, kinds=("trailer",)),
        "cargo": _cargo,
        "tie-down kinds": _tie_downs,
    }
    maker = makers.get(kind)
    if maker is None:
        raise ChecklistError(
            f"each: {of!r} is no kind of position",
            f"use one of: {', '.join(makers)}; docs/vehicles.md shows each",
        )
    return tuple(maker(_Filter(vehicle, of, words)))


class _Filter:
    """The words after the kind of position, each understood once."""

    def __init__(self, vehicle: Vehicle, of: str, words: list[str]) -> None:
        self.vehicle, self.of = vehicle, of
        self.side = self.unit = self.axle = self.area = self.adjuster = ""
        for word in words:
            plain = word.replace("-", " ")
            if plain in UNIT_WORDS and not self.unit:
                self.unit = plain
            elif of.startswith("lamps.") and not self.area:
                self.area = plain
            elif plain in ("left", "right") and not self.side:
                self.side = plain
            elif plain in ("steer", "drive") and not self.axle:
                self.axle = plain
            elif of.startswith("brakes.") and plain in ("manual", "automatic"):
                self.adjuster = plain
            else:
                raise ChecklistError(
                    f"each: {of!r}: {word!r} says nothing here",
                    "narrow by left, right, steer, drive, or a unit such as tractor, "
                    "trailer, first-trailer; brakes also by manual, automatic",
                )
        areas = {*AREAS, *(area for unit in vehicle.units for area in unit.lamps)}
        if of.startswith("lamps") and self.area not in areas:  # misspelt, it would ask nothing
            raise ChecklistError(
                f"each: {of!r} names no area with lamps",
                f"name one after a dot, with a hyphen for a blank: {', '.join(sorted(areas))}",
            )

    def sides(self) -> tuple[str, ...]:
        return (self.side,) if self.side else ("left", "right")

    def has_unit(self, n: int, towed_only: bool = False) -> bool:
        kind = self.vehicle.units[n].kind
        if not self.unit:
            return not towed_only or kind != "tractor"
        place = [unit.kind for unit in self.vehicle.units[:n]].count(kind)
        return self.unit in (kind, f"{ORDINALS[place]} {kind}")

    def axles(self, towed_only: bool = False) -> list[_Placed]:
        """The axles that are meant, from front to rear, or on the right from rear to front."""
        found = [
            place
            for place in _axles(self.vehicle)
            if self.has_unit(place.unit, towed_only) and self.axle in ("", place.axle.position)
        ]
        return found[::-1] if self.side == "right" else found


@dataclass(frozen=True)
class _Placed:
    """An axle with the words for it. ``short`` is enough where its unit is already meant."""

    unit: int
    unit_name: str
    axle: Axle
    name: str
    short: str
    alone: bool  # nothing else like its unit is towed, so the unit need not be named

    @property
    def given(self) -> dict[str, str]:
        return {"axle": self.axle.position, "unit": self.unit_name, "axle name": self.name}

    def ends(self) -> tuple[str, ...]:
        return ("outer", "inner") if self.axle.wheels == "dual" else ("",)


def _axles(vehicle: Vehicle) -> Iterator[_Placed]:
    names = vehicle.unit_names()
    alone = sum(unit.kind != "tractor" for unit in vehicle.units) < 2
    for n, unit in enumerate(vehicle.units):
        for k, axle in enumerate(unit.axles):
            like = [a.position for a in unit.axles]
            nth = _nth(like[:k].count(axle.position), like.count(axle.position))
            if unit.kind == "tractor":
                name = _words(nth, axle.position, "axle")
            else:  # of several units the unit is said first, so that it is not lost
                name = _words(nth, names[n], "axle") if alone else _words(names[n], nth, "axle")
            yield _Placed(n, names[n], axle, axle.name or name, axle.short or nth, alone)


def _nth(place: int, count: int) -> str:
    if count == 1:
        return ""
    if count <= 3:
        return {0: "front", count - 1: "rear"}.get(place, "middle")
    return ORDINALS[place]


def _words(*words: str) -> str:
    return " ".join(filter(None, words))


def _yes(value: bool | str) -> str:
    """The word of a limit's input for a key that is true, false or a word of its own."""
    return value if isinstance(value, str) else "yes" if value else "no"


def _stated(values: Mapping[str, Quantity | str | Literal[False] | None]) -> dict[str, str]:
    return {key: str(value) for key, value in values.items() if value}


# -- each kind ------------------------------------------------------------------------------------


def _axle_positions(f: _Filter) -> Iterator[Position]:
    for place in f.axles():
        yield Position(place.name, place.name, place.given)


def _wheels(f: _Filter) -> Iterator[Position]:
    for place in f.axles():
        for side in f.sides():
            for end in place.ends():
                yield Position(
                    _words(place.name, side, end),
                    _words(side, place.name, end),
                    {**place.given, "side": side},
                )


def _brakes(f: _Filter) -> Iterator[Position]:
    for place in f.axles():
        brake = place.axle.brake
        if brake is None or f.adjuster not in ("", brake.adjuster):
            continue
        for side in f.sides():
            yield Position(
                _words(place.name, side),
                _words(side, place.name),
                {**place.given, "side": side, **brake.given()},
            )


def _tires(f: _Filter) -> Iterator[Position]:
    for place in f.axles(towed_only=True):
        if place.axle.position == "trailer":
            at = place.short if place.alone else _words(place.unit_name, place.short)
        elif place.short == place.axle.position:
            at = place.short
        else:
            at = _words(place.short, place.axle.position)
        for side in f.sides():
            for end in place.ends():
                name = _words(at, end)
                said = _words(side, name)
                also = (name,) if name and f.side else ()
                yield Position(said, said, {**place.given, "side": side}, also)


def _lamps(f: _Filter) -> Iterator[Position]:
    names = f.vehicle.unit_names()
    towed = sum(unit.kind != "tractor" for unit in f.vehicle.units)
    for n, unit in enumerate(f.vehicle.units):
        if not f.has_unit(n, towed_only=True):
            continue
        owner = names[n] if unit.kind != "tractor" and towed > 1 else ""
        for name, given in _lamps_at(f.vehicle, unit, f.area):
            said = _words(owner, name)
            yield Position(said, said, {"unit": names[n], **given})


def _lamps_at(vehicle: Vehicle, unit: UnitModel, area: str) -> list[tuple[str, Mapping[str, str]]]:
    if unit.lamps:
        return [(name, {}) for name in unit.lamps.get(area, ())]
    if vehicle.jurisdiction.partition("-")[0] != "US":
        raise ChecklistError(
            f"the {unit.kind} lists no lamps, and none are on file for {vehicle.jurisdiction}",
            "list them under lamps: of that unit in the vehicle file",
        )
    try:
        towing = unit.kind == "tractor" and len(vehicle.units) > 1
        found = lamps_of(unit.kind, unit.width, unit.length, unit.gvwr, unit.built, towing)
        rows = found.get(area, ())
    except ValueError as missing:
        raise ChecklistError(
            f"the lamps of the {unit.kind} follow from its {missing}, which is not known",
            f"give its {missing} in the vehicle file, or list its lamps",
        ) from None
    return [(row.name, {"colour": row.colour, "number": row.number}) for row in rows]


def _units(f: _Filter, kinds: tuple[str, ...] = UNIT_KINDS) -> Iterator[Position]:
    for n, name in enumerate(f.vehicle.unit_names()):
        if f.has_unit(n) and f.vehicle.units[n].kind in kinds:
            yield Position(name, name, {"unit": name})


def _cargo(f: _Filter) -> Iterator[Position]:
    if f.vehicle.cargo and (said := f.vehicle.cargo.said()):
        yield Position("cargo", said, f.vehicle.cargo.given())


def _tie_downs(f: _Filter) -> Iterator[Position]:
    if f.vehicle.cargo:
        for kind in f.vehicle.cargo.tie_downs:
            given = {**f.vehicle.cargo.given(), **kind.given()}
            yield Position(kind.name, kind.name, given)


def schema_text() -> str:
    """JSON Schema 2020-12 of a vehicle file, made from the model."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **Vehicle.model_json_schema(by_alias=True),
        "title": "Vehicle of voicecheck",
    }
    return json.dumps(schema, indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    print(schema_text(), end="")
