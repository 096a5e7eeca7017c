"""A vehicle description: its units, axles, wheels, brakes, lamps and features.

Steps written with ``each:`` expand over its positions; groups take their items from it. Nothing
about the vehicle is written into the program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pydantic import Field

from voicecheck.checklist.model import Strict, Words
from voicecheck.errors import ChecklistError


class Brake(Strict):
    chamber: str  # type number as marked, e.g. "30"
    long_stroke: bool = Field(default=False, alias="long stroke")
    style: Literal["drum", "disc"] = "drum"


class Axle(Strict):
    """One axle, named as a driver would: "steer axle", "front drive axle"."""

    name: Words
    position: Literal["steer", "drive", "trailer"]
    wheels: Literal["single", "dual"]
    short: Words = "axle"  # among the axles of its unit: "front", "rear"
    brake: Brake | None = None


class UnitModel(Strict):
    """One unit of the combination. ``number`` is spoken by its last four characters."""

    kind: Literal["tractor", "trailer"]
    number: str
    axles: tuple[Axle, ...] = ()
    # area ("rear", "left side") to the names of its lamps
    lamps: dict[str, tuple[Words, ...]] = Field(default_factory=dict)


class Vehicle(Strict):
    name: str
    jurisdiction: str = "US"
    features: tuple[str, ...] = ()
    units: tuple[UnitModel, ...]

    def numbers(self) -> tuple[tuple[str, str], ...]:
        return tuple((unit.kind, unit.number) for unit in self.units)


@dataclass(frozen=True)
class Position:
    """Where a step is done: an id for the record, words for the voice, facts for the limits."""

    id: str
    said: str
    given: Mapping[str, str]
    also: tuple[str, ...] = ()  # other words that stand for it where nothing else can be meant


def positions(vehicle: Vehicle, of: str) -> tuple[Position, ...]:
    """The positions of a kind: axles, wheels, brakes, tires.SIDE (of the trailer), lamps.AREA.

    ChecklistError if unknown.
    """
    kind, _, area = of.partition(".")
    axles = [axle for unit in vehicle.units for axle in unit.axles]
    if of == "axles":
        return tuple(_axle(axle) for axle in axles)
    if of == "wheels":
        return tuple(
            Position(
                f"{base.id} {side} {place}".strip().replace("  ", " "),
                f"{side} {base.said} {place}".strip(),
                base.given,
            )
            for axle in axles
            for base in (_axle(axle),)
            for side in ("left", "right")
            for place in (("outer", "inner") if axle.wheels == "dual" else ("",))
        )
    if of == "brakes":
        return tuple(
            Position(
                f"{axle.name} {side}",
                f"{side} {axle.name}",
                {
                    **_axle(axle).given,
                    "chamber type": axle.brake.chamber,
                    "long stroke": "yes" if axle.brake.long_stroke else "no",
                    "style": axle.brake.style,
                },
            )
            for axle in axles
            if axle.brake
            for side in ("left", "right")
        )
    if kind == "tires" and area in ("left", "right"):
        names = [
            f"{axle.short} {place}".strip()
            for unit in vehicle.units
            if unit.kind == "trailer"
            for axle in unit.axles
            for place in (("outer", "inner") if axle.wheels == "dual" else ("",))
        ]
        return tuple(Position(f"{area} {n}", f"{area} {n}", {}, (n,)) for n in names)
    if kind == "lamps" and area:
        return tuple(
            Position(lamp, lamp, {})
            for unit in vehicle.units
            for lamp in unit.lamps.get(area.replace("-", " "), ())
        )
    raise ChecklistError(
        f"each: {of!r} is no kind of position",
        "use axles, wheels, brakes, tires.left, tires.right, or lamps.AREA of the vehicle file",
    )


def _axle(axle: Axle) -> Position:
    return Position(axle.name, axle.name, {"axle": axle.position})
