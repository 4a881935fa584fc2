"""The base of every resource: token, scope, role, firm, household; then one service or selector."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from contextlib import ExitStack
from hashlib import sha256
from typing import Any, ClassVar

from django.db import transaction
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils import translation
from rest_framework.exceptions import MethodNotAllowed, NotAuthenticated, Throttled
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer, ValidationError
from rest_framework.views import APIView

from config.api.fields import Query
from config.api.problems import ApiProblem, ProblemRenderer, answer_of, problem_of
from config.api.tags import names, tag_of_bytes
from config.problems import Problem
from config.rates import API_TOKEN
from planning.access import Access
from planning.api.authentication import TokenOfMember
from planning.models import Household
from planning.services.answers import InFlightError, keep_answer, take_key
from planning.services.tokens import Standing

KEY = re.compile(r"[\x21-\x7e]{1,100}\Z")


class _AlwaysJson(DefaultContentNegotiation):
    """JSON, whatever is asked for: there is nothing else."""

    def select_renderer(self, request: Any, renderers: Any, format_suffix: Any = None) -> Any:  # noqa: ARG002
        """The first renderer."""
        return renderers[0], renderers[0].media_type


class Resource(APIView):
    """One address. `rights` gives scope and action for each method that it takes."""

    rights: ClassVar[Mapping[str, tuple[str, str]]] = {}
    query: ClassVar[type[Query]] = Query
    authentication_classes = (TokenOfMember,)
    content_negotiation_class = _AlwaysJson
    permission_classes = ()
    http_method_names = ("get", "head", "post", "put")
    household_must_exist = True

    held: ExitStack
    standing: Standing
    household: Household
    inside: bool = False
    raw: bytes = b""
    asked: dict[str, Any]

    @classmethod
    def as_view(cls, **options: Any) -> Any:
        """The view; its transaction is the firm's scope, opened once the token is known."""
        return transaction.non_atomic_requests(super().as_view(**options))

    @property
    def access(self) -> Access:
        """The access of the token's owner."""
        return self.standing.access

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer in the firm's scope, in English, with an entity tag where something was read."""
        with ExitStack() as self.held, translation.override("en"):
            response = super().dispatch(request, *args, **kwargs)
            return self._tagged(request, response)

    def _tagged(self, request: HttpRequest, response: Any) -> HttpResponseBase:
        if isinstance(response, Response):
            response.render()
        if request.method not in ("GET", "HEAD") or response.status_code != 200:
            return response
        tag = tag_of_bytes(response.content)
        wanted = request.headers.get("If-None-Match", "")
        if wanted and names(wanted, tag, weak=True):
            response = Response(status=304)
            response.accepted_renderer, response.accepted_media_type = JSONRenderer(), "*/*"
            response.renderer_context = {}
            response.render()
        response["ETag"] = tag
        return response

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Ask everything that is asked of every request, in this order."""
        super().initial(request, *args, **kwargs)
        if not isinstance(request.auth, Standing):
            raise NotAuthenticated
        self.standing = request.auth
        if not API_TOKEN.allows(str(self.standing.token.pk)):
            raise Throttled(wait=API_TOKEN.seconds)
        method = "GET" if request.method == "HEAD" else str(request.method)
        if method not in self.rights:
            raise MethodNotAllowed(method)
        scope, action = self.rights[method]
        if scope and scope not in self.standing.token.scopes:
            raise ApiProblem(403, f"The token lacks the scope {scope}")
        if action:
            self.access.require(action)
        self.held.enter_context(self.access.opened())
        self.inside = True
        self._look(kwargs)
        self.asked = self._query(request)

    def _look(self, kwargs: Mapping[str, Any]) -> None:
        if any("\x00" in one for one in kwargs.values() if isinstance(one, str)):
            raise Http404
        if "ref" in kwargs and self.household_must_exist:
            self.household = self.access.household(kwargs["ref"])
        self.look(**kwargs)

    def look(self, **kwargs: Any) -> None:
        """See that what the address names is in view, before anything else is told."""

    def _query(self, request: Request) -> dict[str, Any]:
        twice = [
            name for name in request.query_params if len(request.query_params.getlist(name)) > 1
        ]
        found = self.query(data=request.query_params.dict())
        try:
            found.is_valid(raise_exception=True)
            if twice:
                raise ValidationError({name: ["it is given twice"] for name in twice})
        except ValidationError as error:
            raise ApiProblem(400, problems=problem_of(error, request).problems) from error
        return dict(found.validated_data)

    def handle_exception(self, exc: Exception) -> Response:
        """The problem, with whatever was begun undone."""
        if self.inside:
            transaction.set_rollback(True)
        response = answer_of(problem_of(exc, self.request))
        response.exception = True
        self.request.accepted_renderer = ProblemRenderer()
        self.request.accepted_media_type = ProblemRenderer.media_type
        return response

    # -- bodies -------------------------------------------------------------------

    def body(self, kind: type[Serializer], request: Request) -> dict[str, Any]:
        """The checked body. Raises ValidationError with every fault."""
        found = kind(data=request.data)
        found.is_valid(raise_exception=True)
        return dict(found.validated_data)


class Creates(Resource):
    """A resource whose POST has an effect: once for each Idempotency-Key."""

    def create(self, request: Request, **kwargs: Any) -> Response:
        """Do it."""
        raise NotImplementedError

    def post(self, request: Request, **kwargs: Any) -> Response:
        """The answer kept under the key, or the act and its answer, kept from now on."""
        key = request.headers.get("Idempotency-Key", "")
        if not KEY.match(key):
            fault = "the header is missing or not 1 to 100 visible ASCII characters"
            problem = Problem("", "Idempotency-Key", fault, "Send a new random value for every act")
            raise ApiProblem(400, problems=[problem])
        digest = self._digest(request)
        try:
            kept = take_key(access=self.access, key=key)
        except InFlightError as error:
            detail = "A request with this Idempotency-Key is being worked on"
            raise ApiProblem(409, detail, headers={"Retry-After": "1"}) from error
        if kept is not None:
            if kept.request_digest != digest:
                fault = "the key was used for another request"
                problem = Problem("", "Idempotency-Key", fault, "Use a new key for a new request")
                raise ApiProblem(422, problems=[problem])
            response = Response(json.loads(kept.body), status=kept.status)
            if kept.location:
                response["Location"] = kept.location
            response["Idempotent-Replay"] = "true"
            return response
        response = self.create(request, **kwargs)
        keep_answer(
            access=self.access,
            key=key,
            request_digest=digest,
            status=response.status_code,
            location=response.get("Location", ""),
            body=JSONRenderer().render(response.data).decode(),
        )
        return response

    def _digest(self, request: Request) -> str:
        """What makes two requests the same: whose, where to, and the very bytes."""
        _ = request.data  # reads the body
        head = f"{self.access.membership_id} {request.method} {request.get_full_path()} "
        return sha256(head.encode() + self.raw).hexdigest()


class Nothing(Resource):
    """Every address that leads nowhere."""

    rights = dict.fromkeys(("GET", "POST", "PUT"), ("", ""))
    schema = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """A token is asked for here too, so that a stranger learns no address."""
        super(Resource, self).initial(request, *args, **kwargs)
        if not isinstance(request.auth, Standing):
            raise NotAuthenticated
        raise Http404
