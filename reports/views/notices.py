"""A member's own notices: digest by mail, calendar by secret address."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from config.database import firm_scope
from config.problems import BadInput
from reports.calendars import CONTENT_TYPE, calendar_bytes
from reports.selectors.dates import dates_of
from reports.selectors.notices import member_page
from reports.services import digests, notices
from reports.views.guard import needs


@require_http_methods(["GET", "HEAD", "POST"])
@needs("notice.own")
def my_notices(request: HttpRequest) -> HttpResponse:
    """How often a digest comes, and the calendar's address; POST sets the digest."""
    if request.method != "POST":
        return _page(request)
    try:
        notices.set_preference(
            access=request.access,
            digest=request.POST.get("digest", ""),
            language=request.POST.get("language", ""),
        )
    except BadInput as error:
        return _page(request, status=400, problems=error.problems)
    messages.success(request, _("Your notices are as you set them."))
    return redirect("my_notices")


@require_POST
@needs("notice.own")
def make_calendar(request: HttpRequest) -> HttpResponse:
    """Make the calendar's address, or a new one; shown in this answer and never again."""
    try:
        token = notices.make_feed(
            access=request.access,
            language=request.POST.get("language", ""),
            names=request.POST.get("names") == "on",
        )
    except BadInput as error:
        return _page(request, status=400, problems=error.problems)
    address = settings.PUBLIC_URL + reverse("calendar_feed", args=[token])
    return _page(request, address=address)


@require_POST
@needs("notice.own")
def revoke_calendar(request: HttpRequest) -> HttpResponse:
    """Make the calendar's address stop working."""
    notices.revoke_feed(access=request.access)
    messages.success(request, _("The calendar's address no longer works."))
    return redirect("my_notices")


@login_not_required
@require_safe
def calendar_feed(_request: HttpRequest, token: str) -> HttpResponse:
    """A member's calendar by its secret address, for programs that cannot sign in.

    The member's standing is asked anew each time. A token that is none, was
    renewed or revoked, or whose member is off, is not found.
    """
    firm_id = notices.firm_of_token(token)
    if firm_id is None:
        raise Http404
    with firm_scope(firm_id):
        found = notices.open_feed(token=token)
        if found is None:
            raise Http404
        feed, access = found
        if not notices.count_request(feed):
            return HttpResponse(status=429, headers={"Retry-After": str(notices.WINDOW_SECONDS)})
        today = digests.firm_now().date()
        content = calendar_bytes(
            dates_of(access, today), today=today, language=feed.language, names=feed.names
        )
    return HttpResponse(
        content,
        content_type=CONTENT_TYPE,
        headers={
            "Cache-Control": "no-store",
            "Content-Disposition": 'attachment; filename="towpath.ics"',
            "Referrer-Policy": "no-referrer",
            "X-Robots-Tag": "noindex",
        },
    )


def _page(request: HttpRequest, status: int = 200, **more: Any) -> HttpResponse:
    page = member_page(request.access, get_language() or "en")
    context = {"page": page, "here": "notices"} | more
    return render(request, "reports/notices/mine.html", context, status=status)
