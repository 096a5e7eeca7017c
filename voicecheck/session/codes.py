"""The reference for which a supervisor makes a release code. Pure.

It is eight figures, so that it can be read over a telephone, and follows from the inspection, its
beginning, the number of the defect and the moment at which it was found. So the code for it serves
no other inspection, no other defect, and not the same defect when it is found again.
"""

from __future__ import annotations

import hashlib


def reference_of(inspection: str, opened: str, number: int, found: str) -> str:
    """Eight figures. ``opened`` and ``found``: wall times of the opening and of the finding."""
    text = f"voicecheck release reference 1\n{inspection}\n{opened}\n{number}\n{found}"
    value = int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")
    return f"{value % 10**8:08}"
