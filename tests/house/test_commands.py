"""Every command is written down, and says what it is for."""

from __future__ import annotations

import pytest
from django.core.management import get_commands, load_command_class

from config import bootstrap
from tests.house import sources

OURS = sorted((name, app) for name, app in get_commands().items() if app in sources.PACKAGES)
REFERENCE = sources.ROOT / "docs" / "reference" / "commands.md"


@pytest.mark.parametrize(("name", "app"), OURS)
def test_a_management_command_is_in_the_reference(name: str, app: str):
    assert f"### {name}\n" in REFERENCE.read_text("utf-8")


@pytest.mark.parametrize(("name", "app"), OURS)
def test_a_management_command_explains_itself(name: str, app: str):
    assert len(load_command_class(app, name).help) > 10


def test_the_reference_lists_no_command_that_does_not_exist():
    text = REFERENCE.read_text("utf-8")
    listed = {line[4:].strip() for line in text.splitlines() if line.startswith("### ")}
    assert listed - {name for name, _ in OURS} - set(bootstrap.COMMANDS) == set()


@pytest.mark.parametrize("name", bootstrap.COMMANDS)
def test_a_bootstrap_command_is_in_the_reference(name: str):
    assert f"config/bootstrap.py {name}" in REFERENCE.read_text("utf-8")
