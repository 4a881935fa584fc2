"""What we install is pinned, hashed and the same wherever it comes from."""

from __future__ import annotations

import re

import pytest

from tests.house import sources

FOLDER = sources.ROOT / "config" / "requirements"
HEAD = re.compile(r"^([a-z0-9._-]+)(?:\[[a-z,]+\])?==([^\s;\\]+)")


def entries(name: str) -> dict[tuple[str, str], str]:
    """(package, version) -> the whole entry with its hashes."""
    found: dict[tuple[str, str], str] = {}
    current = None
    for line in (FOLDER / f"{name}.txt").read_text("utf-8").splitlines():
        head = HEAD.match(line)
        if head:
            current = (head.group(1), head.group(2))
            found[current] = line
        elif current and line.startswith("    --hash"):
            found[current] += line
        else:
            assert line.lstrip().startswith("#"), line
    return found


@pytest.mark.parametrize("name", ["runtime", "dev"])
def test_every_requirement_carries_a_hash(name: str):
    listed = entries(name)
    assert len(listed) > 30
    assert [key for key, text in listed.items() if "--hash=sha256:" not in text] == []


@pytest.mark.parametrize("name", ["runtime", "dev"])
def test_no_requirement_file_names_an_index_or_an_address(name: str):
    for ending in ("in", "txt"):
        text = (FOLDER / f"{name}.{ending}").read_text("utf-8")
        assert re.findall(r"https?://|--index|--extra-index|--find-links|file:", text) == []


def test_the_development_list_holds_the_runtime_list_pin_by_pin():
    assert set(entries("runtime")) - set(entries("dev")) == set()


def test_every_direct_requirement_is_pinned_exactly():
    for name in ("runtime", "dev"):
        for line in (FOLDER / f"{name}.in").read_text("utf-8").splitlines():
            wanted = line.split("#")[0].strip()
            if wanted and not wanted.startswith("-r"):
                assert re.fullmatch(r"[A-Za-z0-9_.-]+(\[[a-z,]+\])?==\S+", wanted), wanted
