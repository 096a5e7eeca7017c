"""Settings: one file at the platform's usual place, all of it optional.

TOML, for example::

    engine = "vosk"
    model = "D:/models/own"
    jurisdiction = "CA-ON"
    carrier = "Harrow Lake Haulage"
    headset = true
    audio_days = 180

``voicecheck doctor`` prints where the file is looked for.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path

import platformdirs

from voicecheck.errors import SettingsInvalid


@dataclass(frozen=True)
class Settings:
    """``folder``: where inspections are kept. ``order``: the order for ``run``, name or file.

    ``microphone``, ``loudspeaker``: device names. ``audio_days``: days after which recordings
    may be deleted, 0 for no date.
    """

    engine: str = ""
    model: str = ""
    jurisdiction: str = ""
    season: str = ""
    driver: str = ""
    carrier: str = ""
    vehicle: str = "tractor-semitrailer"
    folder: str = "inspections"
    checklists: str = ""
    order: str = ""
    microphone: str = ""
    loudspeaker: str = ""
    headset: bool = False
    audio_days: int = 0


MOST_DAYS = 36500
_AS_WRITTEN = {
    bool: "write true or false",
    int: f"write a whole number of days up to {MOST_DAYS}, without quotes",
    str: "write the value in quotes",
}


def save_settings(changes: Mapping[str, str], file: Path | None = None) -> Path:
    """Write these settings into the file, with all else in it as it was; the file.

    SettingsInvalid when it cannot be written, or where a setting is not one line.
    """
    file = file or settings_file()
    load_settings(file)
    lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
    for name, value in changes.items():
        at = [n for n, line in enumerate(lines) if line.partition("=")[0].strip() == name]
        new = f"{name} = {json.dumps(value, ensure_ascii=False)}"
        if at:
            lines[at[0]] = new + _comment(lines[at[0]])
        else:
            lines.append(new)
    text = "\n".join(lines) + "\n"
    try:
        kept = tomllib.loads(text)
        whole = all(kept.get(name) == value for name, value in changes.items())
    except tomllib.TOMLDecodeError:
        whole = False
    wanted = "; ".join(f"{name} = {json.dumps(value)}" for name, value in changes.items())
    if not whole:
        raise SettingsInvalid(f"{file} cannot be changed by itself.", f"write into it: {wanted}")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        beside = file.with_suffix(".new")
        beside.write_text(text, encoding="utf-8")
        beside.replace(file)
    except OSError as error:
        raise SettingsInvalid(
            f"{file} cannot be written: {error.strerror}.", f"write into it: {wanted}"
        ) from None
    return file


def _comment(line: str) -> str:
    """What stands behind the value, with the blanks before it."""
    for at in (n for n, sign in enumerate(line) if sign == "#"):
        try:
            tomllib.loads(line[:at])
        except tomllib.TOMLDecodeError:
            continue
        return line[len(line[:at].rstrip()) :]
    return ""


def settings_file() -> Path:
    return Path(platformdirs.user_config_dir("voicecheck", appauthor=False)) / "settings.toml"


def device_key_file() -> Path:
    """Where the key lies that signs this device's inspections."""
    return Path(platformdirs.user_data_dir("voicecheck", appauthor=False)) / "device-key.pem"


def release_key_file() -> Path:
    """Where the key for release codes lies, if there is one."""
    return Path(platformdirs.user_data_dir("voicecheck", appauthor=False)) / "release-key.txt"


def load_settings(file: Path | None = None) -> Settings:
    """The settings, or the defaults where there is no file. SettingsInvalid otherwise."""
    file = file or settings_file()
    if not file.exists():
        return Settings()
    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise SettingsInvalid(
            f"{file} cannot be read: {error}.", "correct it at that line, or remove the file"
        ) from None
    known = {field.name: field.type for field in fields(Settings)}
    for name, value in data.items():
        wanted = {"str": str, "bool": bool, "int": int}.get(str(known.get(name)))
        if wanted is None:
            raise SettingsInvalid(
                f"{file} has an unknown setting {name!r}.", f"use one of: {', '.join(known)}"
            )
        if type(value) is not wanted or (type(value) is int and not 0 <= value <= MOST_DAYS):
            raise SettingsInvalid(f"{file}: {name} has the value {value!r}.", _AS_WRITTEN[wanted])
    return Settings(**data)
