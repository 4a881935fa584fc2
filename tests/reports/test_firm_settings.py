"""The page of the firm's settings: who finds it, what it shows, what a form does."""

from __future__ import annotations

import pytest

from config.database import firm_scope
from ledger.core.drift.settings import SETTINGS, written
from ledger.core.drift.thresholds import DEFAULTS
from planning.models import FirmSettings


def form(**changed: str) -> dict[str, str]:
    """The form as the page sends it, every threshold at its default."""
    values = {one.name: str(written(one, DEFAULTS)) for one in SETTINGS}
    return values | {"seen": "0", "reason": "agreed by the partners"} | changed


def versions(book) -> list[dict]:
    with firm_scope(book.firm_id):
        return [one.thresholds for one in FirmSettings.objects.order_by("number")]


def test_a_principal_sees_every_threshold_with_its_default(book) -> None:
    text = book.signed_in("principal").get("/firm/").content.decode()
    for one in SETTINGS:
        assert f'name="{one.name}" value="{written(one, DEFAULTS)}"' in text, one.name
    for part in ("Unused room is told from this amount on", "The firm uses the defaults.",
                 "Not tax, legal or investment advice"):  # fmt: skip
        assert part in text, part


@pytest.mark.parametrize("role", ["advisor", "assistant", "client", "nobody"])
def test_nobody_else_finds_the_page_or_its_link(book, role) -> None:
    client = book.signed_in(role)
    assert client.get("/firm/").status_code == 403
    assert client.post("/firm/", form(idle_days="6")).status_code == 403
    assert 'href="/firm/"' not in client.get("/", follow=True).content.decode()
    assert versions(book) == []
    assert 'href="/firm/"' in book.signed_in("principal").get("/").content.decode()


def test_a_change_is_in_force_with_its_reason_in_the_history(book) -> None:
    client = book.signed_in("principal")
    answer = client.post("/firm/", form(idle_days="6", loan_to_value="0,75"), follow=True)
    text = answer.content.decode()
    assert answer.redirect_chain == [("/firm/", 302)]
    assert versions(book) == [{"idle_days": 6, "loan_to_value": "0.75"}]
    for part in ("The thresholds are in force.", "agreed by the partners", "5 days → 6 days"):
        assert part in text, part
    stranger = book.signed_in("stranger").get("/firm/").content.decode()
    assert "agreed by the partners" not in stranger


def test_a_refused_form_comes_back_as_written_with_every_fault(book) -> None:
    client = book.signed_in("principal")
    answer = client.post("/firm/", form(idle_days="soon", loan_to_value="7", reason=" "))
    text = answer.content.decode()
    assert answer.status_code == 400
    assert 'value="soon"' in text
    assert text.count('aria-invalid="true"') == 3
    assert "Nothing was changed" in text
    assert versions(book) == []


def test_a_form_from_an_older_page_is_refused(book) -> None:
    client = book.signed_in("principal")
    client.post("/firm/", form(idle_days="6"))
    late = client.post("/firm/", form(idle_days="7"))
    assert late.status_code == 400
    assert "Somebody changed the thresholds meanwhile" in late.content.decode()
    assert client.post("/firm/", form(idle_days="7", seen="1")).status_code == 302
    assert versions(book) == [{"idle_days": 6}, {"idle_days": 7}]


def test_the_page_in_french(book) -> None:
    client = book.signed_in("principal")
    client.post("/language/", {"language": "fr", "next": "/firm/"})
    text = client.get("/firm/").content.decode()
    for part in ("Réglages du cabinet", "Motif", "La marge inutilisée est signalée"):
        assert part in text, part
