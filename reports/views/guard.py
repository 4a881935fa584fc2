"""What every page asks first: is there a firm, and may this role do this at all?"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

View = Callable[..., HttpResponse]


def needs(action: str) -> Callable[[View], View]:
    """Refuse with 403 a person without a firm, or whose role may not do `action`.

    Which households are in view is the selectors' question, and answers 404.
    """

    def guarded(view: View) -> View:
        @wraps(view)
        def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.access is None:
                raise PermissionDenied("no firm has this person as a member")
            request.access.require(action)
            return view(request, *args, **kwargs)

        return answer

    return guarded
