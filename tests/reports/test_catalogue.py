"""French is complete: every string of desk, packets and remedies, with its places kept."""

from __future__ import annotations

import ast
import gettext
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ADMIN = Path(sys.executable).with_name("django-admin")
CATALOGUES = {app: ROOT / app / "locale" / "fr" / "LC_MESSAGES" for app in ("reports", "ledger")}
PLACES = re.compile(r"%\(\w+\)s|\{\w+\}")


def entries(po):
    """msgid (or tuple with its plural) -> translations, read from a .po file."""
    found = {}
    for block in po.read_text(encoding="utf-8").split("\n\n"):
        fields, key = {}, None
        for line in block.splitlines():
            head = re.match(r'(msgid|msgid_plural|msgstr(?:\[\d\])?) (".*")', line)
            if head:
                key = head[1]
                fields[key] = ast.literal_eval(head[2])
            elif key and line.startswith('"'):
                fields[key] += ast.literal_eval(line)
        if fields.get("msgid"):
            strings = [text for name, text in fields.items() if name.startswith("msgstr")]
            found[fields["msgid"]] = (fields.get("msgid_plural"), strings)
    return found


@pytest.mark.parametrize("app", CATALOGUES)
def test_every_string_is_translated_with_its_places(app):
    found = entries(CATALOGUES[app] / "django.po")
    assert len(found) > 40
    for message, (plural, strings) in found.items():
        assert all(text.strip() for text in strings), message
        assert len(strings) == (2 if plural else 1), message
        for text in strings:
            assert sorted(PLACES.findall(text)) == sorted(PLACES.findall(message)), message


@pytest.mark.parametrize("app", CATALOGUES)
def test_compiled_catalogue_is_the_written_one(app):
    written = entries(CATALOGUES[app] / "django.po")
    with (CATALOGUES[app] / "django.mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    for message, (plural, strings) in written.items():
        if plural:
            assert compiled.ngettext(message, plural, 1) == strings[0]
            assert compiled.ngettext(message, plural, 2) == strings[1]
        else:
            assert compiled.gettext(message) == strings[0]


@pytest.mark.skipif(shutil.which("xgettext") is None, reason="needs the gettext package")
def test_no_string_of_reports_is_missing_from_the_catalogue(tmp_path):
    """Extract anew from a copy and compare: neither new nor forgotten strings."""
    copy = tmp_path / "reports"
    shutil.copytree(ROOT / "reports", copy, ignore=shutil.ignore_patterns("locale", "__pycache__"))
    (copy / "locale").mkdir()
    subprocess.run(
        [
            Path(sys.executable).with_name("django-admin"),
            "makemessages",
            "-l",
            "fr",
            "--no-location",
        ],
        cwd=copy,
        check=True,
        capture_output=True,
        env={"PATH": "/usr/bin:/bin"},
    )
    wanted = set(entries(copy / "locale" / "fr" / "LC_MESSAGES" / "django.po"))
    written = set(entries(CATALOGUES["reports"] / "django.po"))
    assert wanted - written == set()
    assert written - wanted == set()


def remedy_templates():
    """Every sentence that ledger/core hands to `step`, and those it keeps in tables for it."""
    found = set()
    for path in [
        *(ROOT / "ledger/core/drift").glob("*.py"),
        *(ROOT / "ledger/core").glob("cure*.py"),
    ]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "step" and node.args:
                found |= texts(node.args[0])
            elif isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") in (
                "_REASONS",
                "_HABITS",
                "reason",
            ):
                found |= texts(node.value)
    return found


def texts(node):
    """Sentences among the string constants under a node."""
    return {
        one.value
        for one in ast.walk(node)
        if isinstance(one, ast.Constant) and isinstance(one.value, str) and " " in one.value
    }


def test_every_remedy_is_translated():
    wanted, written = remedy_templates(), set(entries(CATALOGUES["ledger"] / "django.po"))
    assert len(wanted) > 40
    assert wanted - written == set()
    assert written - wanted == set()
