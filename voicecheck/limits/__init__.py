"""Limits: the table with its sources, judging a reading, cold weather.

``judge_family`` compares a reading, ``find`` chooses the row, ``table`` holds the data and the
rules for reading it, ``weather`` gives wind chill and frostbite bands, ``sources`` makes
docs/sources.md. The function ``judge`` (one row by id) is imported from the module
``voicecheck.limits.judge``, because it has the name of its module.
"""

from voicecheck.limits.judge import (
    CannotJudge,
    Judgement,
    build_up_limit,
    build_up_time,
    check_inputs,
    confirming,
    describe,
    find,
    inputs_of,
    judge_family,
    leak_per_minute,
    pressure_kept,
    table_lines,
    tiedowns_needed,
    units_of,
)
from voicecheck.limits.table import FAMILIES, INPUTS, JURISDICTIONS, LIMITS, Limit, limit_of

__all__ = [
    "FAMILIES",
    "INPUTS",
    "JURISDICTIONS",
    "LIMITS",
    "CannotJudge",
    "Judgement",
    "Limit",
    "build_up_limit",
    "build_up_time",
    "check_inputs",
    "confirming",
    "describe",
    "find",
    "inputs_of",
    "judge_family",
    "leak_per_minute",
    "limit_of",
    "pressure_kept",
    "table_lines",
    "tiedowns_needed",
    "units_of",
]
