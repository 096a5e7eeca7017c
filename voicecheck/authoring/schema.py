"""The JSON Schema of the checklist language, for editors that complete and check while one writes.

Run ``python -m voicecheck.authoring.schema > docs/checklist.schema.json`` after a change of
voicecheck/checklist/model.py; a test compares the file with the model.
"""

from __future__ import annotations

import json

from voicecheck.checklist.model import ChecklistModel


def schema_text() -> str:
    """JSON Schema 2020-12 of a checklist file, made from the model."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **ChecklistModel.model_json_schema(by_alias=True),
        "title": "Checklist of voicecheck",
    }
    return json.dumps(schema, indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    print(schema_text(), end="")
