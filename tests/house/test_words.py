"""What we say to clients and advisors, and what we never say."""

from __future__ import annotations

import re

from reports.packets import words
from tests.house import sources

# Written in pieces, so that this file is not its own finding.
NEVER = (
    re.compile("tax.deductible" + r"\s+mortgage", re.IGNORECASE),
    re.compile("guaranteed" + r"\s+(return|saving|refund)", re.IGNORECASE),
    re.compile("risk" + r".free", re.IGNORECASE),
)
CAUTIONS_NAME = (
    *("magnif", "losses", "use", "records", "not tax, legal or investment advice"),
    *("licensed professional", "local rules"),
)


def test_no_text_promises_what_nobody_may_promise():
    found = [
        f"{sources.shown(path)}: {match.group(0)}"
        for path, text in sources.texts()
        for pattern in NEVER
        for match in pattern.finditer(text)
    ]
    assert found == []


def test_the_cautions_name_every_risk():
    long, short = " ".join(words.CAUTIONS).lower(), words.SHORT_CAUTION.lower()
    assert [part for part in CAUTIONS_NAME if part not in long] == []
    assert [part for part in CAUTIONS_NAME if part not in short] == []


def test_the_first_page_of_the_project_carries_the_cautions():
    readme = " ".join((sources.ROOT / "README.md").read_text("utf-8").lower().split())
    assert [part for part in CAUTIONS_NAME if part not in readme] == []
