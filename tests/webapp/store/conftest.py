"""A fresh store for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from webapp.store import open_store
from webapp.store.database import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path / "data")
    yield opened
    opened.close()
