"""One scene for all tests of this folder, rolled back when they are done."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.db import transaction

from tests.access.asking import Crowd
from tests.access.scene import make_scene
from tests.access.table import Table, read_table


@pytest.fixture(scope="module")
def table() -> Table:
    """The table."""
    return read_table()


@pytest.fixture(scope="module")
def crowd(django_db_setup: None, django_db_blocker: Any, table: Table) -> Iterator[Crowd]:
    """Everybody, the second factor asked of staff, in one transaction that nothing outlives."""
    patch = pytest.MonkeyPatch()
    patch.setattr(settings, "SECOND_FACTOR", "staff")
    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                yield Crowd(make_scene(), table)
                transaction.set_rollback(True)
        finally:
            patch.undo()
