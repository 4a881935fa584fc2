"""Who was shown what of a household: written in one place, after the answer is made."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.db import connection
from django.http import HttpRequest, HttpResponse

from planning.access import Access

# Routes that hand out a file; every other route with a household's reference is a page.
DOWNLOADS: Mapping[str, str] = {"packet": "packet", "paper": "evidence", "books": "books"}
_SHOWN = (200, 206)
_NOTE = """
INSERT INTO planning_sighting
       (id, firm_id, household_id, who, user_id, grant_id, role, kind, route, object_id, hour, at)
SELECT gen_random_uuid(), firm_id, id, %(who)s, %(user)s, %(grant)s, %(role)s, %(kind)s,
       %(route)s, %(object)s, date_trunc('hour', clock_timestamp(), 'UTC'), clock_timestamp()
  FROM planning_household
 WHERE firm_id = %(firm)s AND (ref = %(ref)s OR id::text = %(ref)s)
 ORDER BY id LIMIT 1
ON CONFLICT DO NOTHING
"""


class Sightings:
    """Notes every page and file of a household that was answered to a person."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer, and write down what was shown, in the answer's own transaction."""
        response = self.get_response(request)
        access, match = getattr(request, "access", None), request.resolver_match
        if access is not None and match is not None and response.status_code in _SHOWN:
            ref = match.kwargs.get("ref")
            if ref is not None:
                route = match.url_name or match.route
                kept = [str(match.kwargs[one]) for one in sorted(match.kwargs) if one != "ref"]
                note(access, str(ref), route, " ".join(kept))
        return response


def note(access: Access, ref: str, route: str, object_id: str = "") -> None:
    """Write one sighting; a page seen again by the same person in the same hour is the same row.

    Within the firm's scope, for a household that was judged to be in view.
    """
    who = f"user:{access.user_id}" if access.user_id else f"grant:{access.grant_id}"
    with connection.cursor() as cursor:
        cursor.execute(
            _NOTE,
            {
                "firm": access.firm_id,
                "ref": ref,
                "who": who,
                "user": access.user_id,
                "grant": access.grant_id,
                "role": access.role,
                "kind": DOWNLOADS.get(route, "page"),
                "route": route[:60],
                "object": object_id[:80],
            },
        )
