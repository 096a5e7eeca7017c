"""Where checklists, hazards, vehicles and recorded drives are found.

A name without a slash is looked up in the folder given by the user, then among those that travel
with the program; a path is taken as it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from voicecheck.checklist.compile import Context, compile_checklist
from voicecheck.checklist.compiled import Compiled
from voicecheck.checklist.load import load_checklist, load_hazards, load_vehicle
from voicecheck.checklist.order import loaded
from voicecheck.checklist.vehicle import Vehicle
from voicecheck.errors import ChecklistNotFound, ChecklistSyntaxError


@dataclass(frozen=True)
class Sources:
    """The texts that an inspection is made of; they travel in its first record."""

    checklist: str
    hazards: str
    vehicle: str
    checklist_file: str = "checklist"
    hazards_file: str = "hazards.yaml"
    vehicle_file: str = "vehicle"


def shipped(kind: str) -> Path:
    """The folder of what travels with the program: "checklists" or "drives"."""
    package = Path(str(files("voicecheck")))
    installed = package / "data" / kind
    if installed.is_dir():
        return installed
    beside = {"checklists": "checklists", "drives": "audio_fixtures"}[kind]
    return package.parent / beside


def find(name: str, kind: str, own: Path | None = None) -> Path:
    """The file of a checklist, vehicle or order, or the folder of a drive; ``kind`` in plural."""
    under = {"checklists": "", "vehicles": "vehicles", "orders": "orders"}.get(kind)
    if "/" in name or "\\" in name or name.endswith((".yaml", ".yml")):
        path = Path(name)
        if path.exists():
            return path
        raise ChecklistNotFound(f"There is no file {name}.", "mind the path and its spelling")
    places = [*([own] if own else []), shipped("drives" if kind == "drives" else "checklists")]
    for place in places:
        path = place / name if under is None else place / under / f"{name}.yaml"
        if path.exists():
            return path
    known = ", ".join(names(kind)) or "none"
    raise ChecklistNotFound(
        f"There is no {kind.rstrip('s')} called {name!r}.", f"use one of: {known}"
    )


def names(kind: str, own: Path | None = None) -> list[str]:
    """The names that travel with the program, and those in the user's own folder."""
    if kind == "drives":
        return sorted(p.parent.name for p in shipped("drives").glob("*/drive.yaml"))
    under = "" if kind == "checklists" else kind
    folders = [shipped("checklists"), *([own] if own else [])]
    found = {p.stem for folder in folders for p in (folder / under).glob("*.yaml")}
    return sorted(found - {"hazards"})


def read_text(path: Path) -> str:
    """The file as UTF-8 text. ChecklistSyntaxError when it is not that."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise ChecklistSyntaxError(
            f"not UTF-8 text at byte {error.start}", "save it as plain UTF-8 text", path.name, 1
        ) from None
    except OSError as error:
        raise ChecklistNotFound(
            f"{path} cannot be read: {error.strerror}.", "mind the path and its permissions"
        ) from None


def load_sources(checklist: str, vehicle: str, own: Path | None = None) -> Sources:
    list_file = find(checklist, "checklists", own)
    vehicle_file = find(vehicle, "vehicles", own)
    hazards_file = list_file.parent / "hazards.yaml"
    if not hazards_file.exists():
        hazards_file = shipped("checklists") / "hazards.yaml"
    return Sources(
        read_text(list_file),
        read_text(hazards_file),
        read_text(vehicle_file),
        str(list_file),
        str(hazards_file),
        str(vehicle_file),
    )


def compile_sources(
    sources: Sources,
    *,
    season: str = "summer",
    jurisdiction: str = "",
    settings: dict[str, str] | None = None,
    order: Iterable[tuple[str, str]] = (),
) -> tuple[Compiled, Vehicle]:
    """The compiled checklist and the vehicle, with the load of the order (``Order.rest``).

    ChecklistError with file and line.
    """
    model, lines = load_checklist(sources.checklist, sources.checklist_file)
    hazards, _ = load_hazards(sources.hazards, sources.hazards_file)
    vehicle = loaded(load_vehicle(sources.vehicle, sources.vehicle_file), order)
    context = Context(vehicle, season, jurisdiction or vehicle.jurisdiction, settings or {})
    compiled = compile_checklist(model, lines, sources.checklist_file, hazards, context)
    return compiled, vehicle
