"""The order of a trip, as dispatch writes it: what should stand in the yard, with what load.

The order says what is wanted; the driver says what is there. A number or a plate that is spelled is
compared with the order (``spell: {match: trailer}`` or ``{match: trailer plate}``), and nothing in
an order gives a fact. The JSON Schema: ``python -m voicecheck.checklist.order``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Annotated

from pydantic import Field, StringConstraints, model_validator

from voicecheck.checklist.model import Strict
from voicecheck.checklist.vehicle import ORDINALS, UNIT_KINDS, Cargo, Length, Mass, Vehicle
from voicecheck.units import Quantity

Text = Annotated[str, StringConstraints(min_length=1, max_length=80)]
Number = Annotated[
    str, StringConstraints(pattern=r"^[A-Za-z0-9](?:[A-Za-z0-9 -]{0,18}[A-Za-z0-9])?$")
]
UnitName = Annotated[
    str,
    StringConstraints(pattern=rf"^(?:(?:{'|'.join(ORDINALS)}) )?(?:{'|'.join(UNIT_KINDS)})$"),
]


class OrderedUnit(Strict):
    """``number`` as painted on the unit, ``plate`` as on its registration."""

    number: Number | None = None
    plate: Number | None = None

    @model_validator(mode="after")
    def _something(self) -> OrderedUnit:
        if self.number is None and self.plate is None:
            raise ValueError("a unit of an order has a number, a plate, or both")
        return self


class Load(Strict):
    """``weight`` and ``length`` with their units: "38000 lb", "48 ft"."""

    text: Text | None = None
    weight: Mass | None = None
    length: Length | None = None


class Order(Strict):
    """One trip. ``units``: "tractor", "trailer", with several of a kind "first trailer" ..."""

    order: Text  # its number, or what dispatch calls it
    carrier: Text | None = None
    units: Annotated[dict[UnitName, OrderedUnit], Field(min_length=1)]
    load: Load | None = None
    destination: Text | None = None

    def numbers(self) -> dict[str, str]:
        """What is compared with what is spelled: number by unit, plate by "UNIT plate"."""
        return {
            name: value
            for unit, given in self.units.items()
            for name, value in ((unit, given.number), (f"{unit} plate", given.plate))
            if value
        }

    def rest(self) -> tuple[tuple[str, str], ...]:
        """All else that it says, by name, for the record and the report."""
        load = self.load or Load()
        said = (
            ("order", self.order),
            ("destination", self.destination),
            ("load", load.text),
            ("load weight", load.weight),
            ("load length", load.length),
        )
        return tuple((name, str(value)) for name, value in said if value)


def loaded(vehicle: Vehicle, rest: Iterable[tuple[str, str]]) -> Vehicle:
    """The vehicle with the load of an order, given as ``Order.rest``, in place of its own."""
    said = {"weight": "load weight", "length": "load length"}
    ordered = dict(rest)
    load = {key: Quantity.parse(ordered[name]) for key, name in said.items() if name in ordered}
    if not load:
        return vehicle
    return vehicle.model_copy(update={"cargo": (vehicle.cargo or Cargo()).model_copy(update=load)})


def schema_text() -> str:
    """JSON Schema 2020-12 of an order file, made from the model."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **Order.model_json_schema(),
        "title": "Order of voicecheck",
    }
    return json.dumps(schema, indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    print(schema_text(), end="")
