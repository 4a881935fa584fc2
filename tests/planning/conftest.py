"""The cast, for the tests that need everybody."""

from __future__ import annotations

import pytest

from tests.cast import Cast, make_cast


@pytest.fixture
def cast(db: None) -> Cast:
    """Everybody, in the database."""
    return make_cast()
