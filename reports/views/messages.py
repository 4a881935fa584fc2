"""The firm's messages and the addresses of its own programs: a principal's pages."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages as said
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from config.problems import BadInput
from reports.selectors.notices import endpoints_page, messages_page
from reports.services import endpoints, notices
from reports.views.guard import needs


@require_safe
@needs("message.manage")
def messages(request: HttpRequest) -> HttpResponse:
    """What could not be sent, what waits, and the firm's rule for details in mail."""
    page = messages_page(request.access)
    context = {"page": page, "here": "messages"}
    return render(request, "reports/notices/messages.html", context)


@require_POST
@needs("message.manage")
def retry_message(request: HttpRequest, message_id: UUID) -> HttpResponse:
    """Send an unknown or dead message again."""
    notices.retry_message(access=request.access, message_id=message_id)
    said.success(request, _("The message will be sent again."))
    return redirect("messages")


@require_POST
@needs("message.manage")
def mail_details(request: HttpRequest) -> HttpResponse:
    """Let mail name clients and amounts, or not."""
    notices.set_details(access=request.access, details=request.POST.get("details") == "on")
    said.success(request, _("The rule for mail is as you set it."))
    return redirect("messages")


@require_http_methods(["GET", "HEAD", "POST"])
@needs("message.manage")
def webhooks(request: HttpRequest) -> HttpResponse:
    """Endpoints and their deliveries; POST adds one and shows its secret, once."""
    if request.method != "POST":
        return _endpoints(request)
    url = request.POST.get("url", "").strip()
    events = request.POST.getlist("events")
    try:
        row, secret = endpoints.add_endpoint(access=request.access, url=url, events=events)
    except BadInput as error:
        typed = {"url": url[:500], "events": events}
        return _endpoints(request, status=400, problems=error.problems, typed=typed)
    return _endpoints(request, secret=secret, secret_of=row)


@require_POST
@needs("message.manage")
def renew_webhook(request: HttpRequest, endpoint_id: UUID) -> HttpResponse:
    """Give an endpoint a new secret, shown once."""
    row, secret = endpoints.renew_secret(access=request.access, endpoint_id=endpoint_id)
    return _endpoints(request, secret=secret, secret_of=row)


@require_POST
@needs("message.manage")
def switch_off_webhook(request: HttpRequest, endpoint_id: UUID) -> HttpResponse:
    """Tell an endpoint nothing more."""
    endpoints.switch_off(access=request.access, endpoint_id=endpoint_id)
    said.success(request, _("The endpoint is switched off."))
    return redirect("webhooks")


def _endpoints(request: HttpRequest, status: int = 200, **more: Any) -> HttpResponse:
    context = {"page": endpoints_page(request.access), "here": "messages"} | more
    return render(request, "reports/notices/webhooks.html", context, status=status)
