"""The row of a test, and whether the test was held to it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.faults.table import Row


@pytest.fixture
def row(request: pytest.FixtureRequest) -> Iterator[Row]:
    found: Row = request.function.row
    found.checked = False
    yield found
    assert found.checked, "the test does not compare what happened with its row"
