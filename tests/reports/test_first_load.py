"""What a first visit costs: bytes of a page with its styles, letters and scripts; imports."""

from __future__ import annotations

import gzip
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.contrib.staticfiles.finders import find
from django.urls import reverse

from tests.reports.sample import REF

ROOT = Path(__file__).resolve().parents[2]
MOST_BYTES = 200_000
STATIC = re.compile(r'(?:href|src)="/static/([^"?]+)"')
URL = re.compile(r'url\("([^"]+)"\)')
PAGES = {
    "book": "/",
    "renewals": "/renewals/",
    "findings": "/findings/",
    "household": reverse("household", args=[REF]),
    "month": reverse("month", args=[REF, "2026-09"]),
    "plan": reverse("plan", args=[REF]),
    "draws": reverse("draws", args=[REF]),
    "runs": "/runs/",
    "notices": "/me/notices/",
}
HEAVY = ("numpy", "weasyprint", "vl_convert", "numba")


def static_file(name: str) -> Path:
    """The source of a static file, whatever digest stands in its address."""
    found = find(name) or find(re.sub(r"\.[0-9a-f]{12}(\.\w+)$", r"\1", name))
    assert found, name
    return Path(found)


@pytest.mark.parametrize("page", PAGES)
def test_a_first_visit_stays_small(book, page):
    answer = book.signed_in("principal").get(PAGES[page])
    assert answer.status_code == 200
    files = {static_file(name) for name in STATIC.findall(answer.content.decode())}
    assert any(one.suffix == ".css" for one in files)
    for sheet in [one for one in files if one.suffix == ".css"]:
        files |= {(sheet.parent / name).resolve() for name in URL.findall(sheet.read_text("utf-8"))}
    letters = [one for one in files if one.suffix == ".woff2"]
    assert len(letters) >= 2
    total = len(answer.content) + sum(one.stat().st_size for one in letters)
    total += sum(len(gzip.compress(one.read_bytes())) for one in files if one not in letters)
    assert total < MOST_BYTES, total


def test_a_web_process_starts_without_the_heavy_libraries():
    code = (
        "import json, sys; import config.wsgi; from django.urls import get_resolver;"
        "get_resolver().url_patterns; import reports.templatetags.figures;"
        f"print(json.dumps([one for one in {HEAVY!r} if one in sys.modules]))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings_test"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(ran.stdout.splitlines()[-1]) == []
