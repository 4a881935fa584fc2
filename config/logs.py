"""One JSON object per line on standard error, without names, amounts or passwords.

Two fences keep the book out of the log. Only the keys listed in `ALLOWED` leave
the process, whatever the code around binds. Of an exception the type and the
places it passed through are kept, never its text: the text of a database error
quotes the row.
"""

from __future__ import annotations

import logging
import traceback
from collections.abc import MutableMapping
from types import TracebackType
from typing import Any

import structlog

ALLOWED = frozenset(
    {
        *("event", "level", "logger", "timestamp", "exception"),
        *("request_id", "method", "route", "status", "duration_ms", "address"),
        *("actor_id", "firm_id", "household_id", "object_id", "packet_id", "statement_id"),
        *("run_id", "item_id", "job_id", "job_kind", "month", "state", "attempt", "count"),
        *("task", "task_id", "queue", "worker", "error_type", "rows", "pages", "bytes"),
    }
)

Event = MutableMapping[str, Any]
ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None]


def keep_allowed(_logger: object, _method: str, event: Event) -> Event:
    """Drop every key that is not on the list, so a careless `bind` leaks nothing."""
    return {key: value for key, value in event.items() if key in ALLOWED or key[:1] == "_"}


def places_only(_logger: object, _method: str, event: Event) -> Event:
    """Replace an exception by its type and the lines it passed, without its text."""
    exc_info = event.pop("exc_info", None)
    if exc_info is True:
        import sys

        exc_info = sys.exc_info()
    if isinstance(exc_info, BaseException):
        exc_info = (type(exc_info), exc_info, exc_info.__traceback__)
    if exc_info and exc_info[0] is not None:
        event["error_type"] = exc_info[0].__name__
        event["exception"] = describe(exc_info)
    event.pop("exc_text", None)
    return event


def describe(exc_info: ExcInfo) -> str:
    """`IntegrityError at services.py:41 book < tasks.py:12 run`, innermost first."""
    frames = traceback.extract_tb(exc_info[2])[-12:]
    places = [
        f"{frame.filename.rsplit('/', 1)[-1]}:{frame.lineno} {frame.name}" for frame in frames
    ]
    return f"{exc_info[0].__name__} at " + " < ".join(reversed(places))


class AddressLeftOut(logging.Filter):
    """Takes the address out of the framework's own lines about refused requests.

    An address may carry a code, a calendar's for one; the line keeps its status,
    and the request's id leads to its route.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        """Let the line pass, with "(address)" where the path stood."""
        path = getattr(getattr(record, "request", None), "path", None)
        if path is not None and isinstance(record.args, tuple):
            record.args = tuple("(address)" if one == path else one for one in record.args)
        return True


SHARED = (
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_logger_name,
    structlog.stdlib.add_log_level,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
)


def configuration(*, level: str, as_json: bool) -> dict[str, Any]:
    """Django's `LOGGING`, and structlog set to write through it.

    `level` is the least severity written; `as_json` chooses machine lines over
    coloured ones for a developer's terminal.
    """
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *SHARED,
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    ending: tuple[Any, ...] = (structlog.dev.ConsoleRenderer(),)
    if as_json:
        ending = (places_only, keep_allowed, structlog.processors.JSONRenderer())
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "line": {
                "()": structlog.stdlib.ProcessorFormatter,
                "foreign_pre_chain": [*SHARED, structlog.stdlib.ExtraAdder(allow=[])],
                "processors": [
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    *ending,
                ],
            }
        },
        "filters": {"no_address": {"()": AddressLeftOut}},
        "handlers": {
            "stderr": {
                "class": "logging.StreamHandler",
                "formatter": "line",
                "level": logging.getLevelName(level.upper()),
            }
        },
        "root": {"handlers": ["stderr"], "level": level.upper()},
        "loggers": {
            # Framework loggers speak through the root handler above, once.
            "django": {"handlers": [], "level": "INFO", "propagate": True},
            "django.request": {"filters": ["no_address"], "propagate": True},
            "django.server": {"handlers": [], "level": "INFO", "propagate": True},
            "weasyprint": {"handlers": [], "level": "ERROR", "propagate": True},
            "fontTools": {"handlers": [], "level": "ERROR", "propagate": True},
        },
    }
