"""From YAML text to the author's models, with the file and line of every mistake.

What is read is a small part of YAML: mappings, lists, text, whole numbers, true and false. Words
such as ``no`` and ``off`` stay words, since drivers say them. Anchors, aliases, tags, doubled keys,
very large files and deep nesting are refused: a checklist needs none of them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from voicecheck.checklist.model import ChecklistModel, HazardsModel
from voicecheck.checklist.order import Order
from voicecheck.checklist.vehicle import Vehicle
from voicecheck.errors import ChecklistError, ChecklistSyntaxError, OrderInvalid

LARGEST = 512 * 1024
DEEPEST = 20
_WHOLE = re.compile(r"^(0|[1-9][0-9]*)$")

Where = tuple[str | int, ...]
Lines = dict[Where, int]
Model = TypeVar("Model", bound=BaseModel)


def load_checklist(text: str, file: str) -> tuple[ChecklistModel, Lines]:
    """A checklist and the line of each of its parts. ChecklistError with file and line."""
    return _load(text, file, ChecklistModel)


def load_hazards(text: str, file: str) -> tuple[HazardsModel, Lines]:
    return _load(text, file, HazardsModel)


def load_vehicle(text: str, file: str) -> Vehicle:
    return _load(text, file, Vehicle)[0]


def load_order(text: str, file: str) -> Order:
    """An order. OrderInvalid with file and line."""
    try:
        return _load(text, file, Order)[0]
    except ChecklistError as error:
        how = error.how.replace("writing-checklists", "orders")
        raise OrderInvalid(error.what, how, error.file, error.line) from None


def line_of(lines: Mapping[Where, int], *path: str | int) -> int:
    """The line of the part at ``path``, or of the nearest part that encloses it."""
    for end in range(len(path), -1, -1):
        line = lines.get(path[:end])
        if line is not None:
            return line
    return 1


def _load(text: str, file: str, model: type[Model]) -> tuple[Model, Lines]:
    data, lines = read_yaml(text, file)
    try:
        return model.model_validate(data), lines
    except ValidationError as error:
        first = error.errors()[0]
        path = tuple(part for part in first["loc"] if part != "[key]")
        more = f" ({error.error_count() - 1} more)" if error.error_count() > 1 else ""
        what = first["msg"].removeprefix("Value error, ")
        raise ChecklistError(
            f"{' > '.join(map(str, path)) or 'the file'}: {what}{more}",
            _advice(first["type"]),
            file,
            line_of(lines, *path),
        ) from None


def _advice(kind: str) -> str:
    return {
        "missing": "add this key; docs/writing-checklists.md shows each",
        "extra_forbidden": "this key is unknown here: mind its spelling, or leave it out",
        "string_pattern_mismatch": "use small letters and single blanks, as the words are spoken",
        "literal_error": "use one of the values named",
    }.get(kind, "correct the value at this line")


def read_yaml(text: str, file: str) -> tuple[Any, Lines]:
    """Plain values and the line (from 1) of each path. ChecklistSyntaxError otherwise."""
    if len(text) > LARGEST:
        raise ChecklistSyntaxError(
            f"the file has more than {LARGEST // 1024} KiB", "split it into two checklists", file, 1
        )
    try:
        depth = 0
        for event in yaml.parse(text, Loader=yaml.SafeLoader):
            depth += isinstance(event, yaml.CollectionStartEvent)
            depth -= isinstance(event, yaml.CollectionEndEvent)
            if depth > DEEPEST:  # seen here, before the composer spends minutes on it
                raise ChecklistSyntaxError(
                    "nested too deeply",
                    "flatten this part",
                    file,
                    event.start_mark.line + 1 if event.start_mark else 1,
                )
            if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
                raise ChecklistSyntaxError(
                    "anchors and aliases (& and *) are not used here",
                    "write the part out, or put the text in quotes",
                    file,
                    event.start_mark.line + 1 if event.start_mark else 1,
                )
        node = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        if error.context_mark and "quoted scalar" in (error.context or ""):
            mark = error.context_mark  # where the quote was opened
        raise ChecklistSyntaxError(
            f"not readable as YAML: {error.problem or error.context}",
            "mind the indentation, the colon and the quotes at this line",
            file,
            mark.line + 1 if mark else 1,
        ) from None
    except (yaml.YAMLError, RecursionError) as error:
        raise ChecklistSyntaxError(
            f"not readable as YAML: {str(error).splitlines()[0]}",
            "save it as plain UTF-8 text without control characters",
            file,
            1,
        ) from None
    if node is None:
        raise ChecklistSyntaxError(
            "the file is empty", "start with id:, edition:, title: and steps:", file, 1
        )
    lines: Lines = {}
    return _value(node, (), lines, file), lines


def _value(node: yaml.Node, path: Where, lines: Lines, file: str) -> Any:
    line = node.start_mark.line + 1
    lines.setdefault(path, line)
    if len(path) > DEEPEST:
        raise ChecklistSyntaxError("nested too deeply", "flatten this part", file, line)
    if isinstance(node, yaml.ScalarNode):
        if node.tag not in _PLAIN:
            raise ChecklistSyntaxError(
                f"the tag {node.tag} is not used here", "remove the tag", file, line
            )
        return _scalar(node)
    if isinstance(node, yaml.SequenceNode):
        if node.tag != "tag:yaml.org,2002:seq":
            raise ChecklistSyntaxError("tags are not used here", "remove the tag", file, line)
        return [_value(part, (*path, n), lines, file) for n, part in enumerate(node.value)]
    if not isinstance(node, yaml.MappingNode) or node.tag != "tag:yaml.org,2002:map":
        raise ChecklistSyntaxError("tags are not used here", "remove the tag", file, line)
    result: dict[str, Any] = {}
    for key, part in node.value:
        at = key.start_mark.line + 1
        if not isinstance(key, yaml.ScalarNode):
            raise ChecklistSyntaxError("a key must be plain text", "quote the key", file, at)
        if key.value in result:
            raise ChecklistSyntaxError(
                f"the key {key.value!r} is written twice", "remove one of the two", file, at
            )
        lines[(*path, key.value)] = at
        result[key.value] = _value(part, (*path, key.value), lines, file)
    return result


_PLAIN = {f"tag:yaml.org,2002:{name}" for name in ("str", "int", "bool", "float", "null")} | {
    "tag:yaml.org,2002:timestamp",
    "tag:yaml.org,2002:value",
}


def _scalar(node: yaml.ScalarNode) -> Any:
    text = str(node.value)
    if node.style is None:
        if _WHOLE.match(text):
            return int(text)
        if text in ("true", "false"):
            return text == "true"
    return text
