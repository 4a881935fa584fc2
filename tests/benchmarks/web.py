"""`web`: a page of the work list against a bare view that asks raw SQL for the same rows.

A database of its own is made for the run and dropped after it.
"""

from __future__ import annotations

import json
import os
import platform
import statistics
import time
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from tests.benchmarks.measure import write

PAGES = 200
RUNS = 20
MOST = 6.0
FLAT, FLAT_SEARCH = 1.3, 2.0

ROWS = """
    SELECT household_id, ref, name, province, advisor_email, urgency, minus_drift_cents,
           severities, severity_cents, top, top_code, more, due, last_closed, stale, renewal,
           eligible_cents, mortgage_cents, line_cents
      FROM ledger_householdstanding WHERE firm_id = %s
     ORDER BY urgency, minus_drift_cents, ref LIMIT 51
"""
COUNTS = """
    SELECT facet, value, sum(households), sum(cents) FROM ledger_standingcount
     WHERE firm_id = %s AND scope = %s
       AND (facet <> 'renewal' OR value <= '2027-11-30') GROUP BY facet, value
"""


def web(asked: Namespace) -> int:
    """Time the page in one process: ours with login, roles and row security, and the floor."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings_test")
    import django

    django.setup()
    with _database():
        return _flat(asked) if asked.flat else _page(asked)


def _page(asked: Namespace) -> int:
    from tests.benchmarks.webbook import fill

    begun = time.perf_counter()
    book = fill(asked.n)
    filled = time.perf_counter() - begun
    client, floor = _client(book.principal), _floor(book.firm_id)
    narrow = _client(book.advisor)
    works: dict[str, Callable[[], object]] = {
        "ours": _get(client, "/"),
        "ours, severity and province": _get(client, "/?severity=fix&province=QC"),
        "ours, rare code and renewal": _get(client, "/?code=idle-draw&renewal=30"),
        "ours, search": _get(client, "/?q=heronlock"),
        "ours, an advisor's book": _get(narrow, "/"),
        "bare view, raw SQL": floor,
    }
    times = _timed(works, max(asked.runs, RUNS))
    base = times["bare view, raw SQL"]
    p50, p95 = statistics.median(times["ours"]), _p95(times["ours"])
    ratio = p50 / statistics.median(base)
    line = {
        "bench": "web",
        "n": asked.n,
        "fill_s": round(filled, 1),
        "ours_ms": round(p50 * 1000, 2),
        "p95_ms": round(p95 * 1000, 2),
        "floor_ms": round(statistics.median(base) * 1000, 3),
        "ratio": round(ratio, 2),
        "python": platform.python_version(),
    }
    write(json.dumps(line))
    _table(times)
    checks = [
        (ratio <= MOST * asked.slack, f"at most {MOST:g} x the bare view at p50"),
        (p95 <= 2 * p50 * asked.slack, "p95 at most twice p50"),
    ]
    return _answer(checks)


def _flat(asked: Namespace) -> int:
    """Page 200 of `n` households (100,000 by default) against page 1 of a thousand."""
    from tests.benchmarks.webbook import fill

    n = asked.n if asked.n > 2000 else 100_000
    small, large = fill(1000), fill(n)
    first, far = _client(small.principal), _client(large.principal)
    late = _walk(far, PAGES)
    works = {
        "page 1 of 1,000": _get(first, "/"),
        f"page 1 of {n:,}": _get(far, "/"),
        f"page {PAGES} of {n:,}": _get(far, late),
        "search in 1,000": _get(first, "/?q=heronlock"),
        f"search in {n:,}": _get(far, "/?q=heronlock"),
    }
    times = _timed(works, max(asked.runs, RUNS))
    median = {name: statistics.median(one) for name, one in times.items()}
    base = median["page 1 of 1,000"]
    flat = median[f"page {PAGES} of {n:,}"] / base
    search = median[f"search in {n:,}"] / median["search in 1,000"]
    write(
        json.dumps(
            {"bench": "web --flat", "n": n, "flat": round(flat, 2), "search": round(search, 2)}
        )
    )
    _table(times)
    return _answer(
        [
            (flat <= FLAT * asked.slack, f"page {PAGES} at most {FLAT:g} x page 1 of 1,000"),
            (search <= FLAT_SEARCH * asked.slack, f"search at most {FLAT_SEARCH:g} x"),
        ]
    )


def _timed(works: dict[str, Callable[[], object]], runs: int) -> dict[str, list[float]]:
    """Wall time of every work, in turns, after five rounds that do not count."""
    times: dict[str, list[float]] = {name: [] for name in works}
    for count in range(runs + 5):
        for name, work in works.items():
            begun = time.perf_counter()
            work()
            if count >= 5:
                times[name].append(time.perf_counter() - begun)
    return times


def _p95(times: list[float]) -> float:
    return sorted(times)[max(0, -(-len(times) * 95 // 100) - 1)]


def _table(times: dict[str, list[float]]) -> None:
    width = max(map(len, times))
    write(f"\n{'':{width}}  {'p50, ms':>9}  {'p95, ms':>9}")
    for name, one in times.items():
        write(f"{name:{width}}  {statistics.median(one) * 1000:9.2f}  {_p95(one) * 1000:9.2f}")


def _answer(checks: list[tuple[bool, str]]) -> int:
    for holds, words in checks:
        write(f"{'holds' if holds else 'FAILS'}: {words}")
    return 0 if all(holds for holds, _ in checks) else 1


def _client(user: Any) -> Any:
    from django.test import Client

    client = Client()
    client.force_login(user)
    return client


def _get(client: Any, path: str) -> Callable[[], object]:
    def work() -> object:
        answer = client.get(path)
        assert answer.status_code == 200, (path, answer.status_code)
        return answer

    return work


def _walk(client: Any, pages: int) -> str:
    """The address of a later page, by the links a reader would follow."""
    import html
    import re

    path = "/"
    for _ in range(pages - 1):
        text = client.get(path).content.decode()
        found = re.search(r'rel="next" href="([^"]+)"', text)
        assert found, path
        path = "/" + html.unescape(found[1])
    return path


def _floor(firm_id: Any) -> Callable[[], object]:
    """Django answering one address without any middleware, with the same rows and counts."""
    from django.core.handlers.wsgi import WSGIRequest
    from django.db import connection
    from django.http import HttpResponse
    from django.test import RequestFactory

    factory = RequestFactory()

    def view(_request: WSGIRequest) -> HttpResponse:
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('app.firm_id', %s, false)", [str(firm_id)])
            cursor.execute(ROWS, [firm_id])
            rows = cursor.fetchall()
            cursor.execute(COUNTS, [firm_id, firm_id])
            counts = cursor.fetchall()
        return HttpResponse(f"{len(rows)} {len(counts)}")

    return lambda: view(factory.get("/"))


@contextmanager
def _database() -> Iterator[None]:
    """A migrated database of this run, as the tests have one."""
    from django.conf import settings
    from django.db import connections

    from config.database import roles

    owner, default = connections["owner"], connections["default"]
    before = default.settings_dict["NAME"], owner.settings_dict["NAME"]
    owner.settings_dict["TEST"]["NAME"] = f"bench_towpath_{os.getpid()}"
    settings.DEBUG = False
    owner.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        owner.ensure_connection()
        roles.grant_database(owner.connection)
        default.close()
        default.settings_dict["NAME"] = owner.settings_dict["NAME"]
        yield
    finally:
        default.close()
        owner.creation.destroy_test_db(before[1], verbosity=0)
        default.settings_dict["NAME"] = before[0]
