"""No name, amount or password reaches the log."""

from __future__ import annotations

import json
import logging
import logging.config
from io import StringIO

import pytest
import structlog

from config import logs


@pytest.fixture
def stream() -> StringIO:
    """A log of its own, as in production."""
    written = StringIO()
    settings = logs.configuration(level="INFO", as_json=True)
    formatter = settings["formatters"]["line"]
    handler = logging.StreamHandler(written)
    handler.setFormatter(
        formatter["()"](
            processors=formatter["processors"], foreign_pre_chain=formatter["foreign_pre_chain"]
        )
    )
    logger = logging.getLogger("towpath.test")
    logger.handlers, logger.propagate = [handler], False
    logger.setLevel(logging.INFO)
    return written


def test_only_listed_keys_leave(stream: StringIO):
    structlog.get_logger("towpath.test").info(
        "closed", household_id=7, name="Odile Tremblay", amount_cents=120437
    )
    line = json.loads(stream.getvalue())
    assert line["event"] == "closed"
    assert line["household_id"] == 7
    assert "Odile" not in stream.getvalue()
    assert "120437" not in stream.getvalue()


def test_an_exception_leaves_its_type_and_place_but_not_its_text(stream: StringIO):
    try:
        raise ValueError("Key (amount)=(1204.37) of Odile Tremblay")
    except ValueError:
        logging.getLogger("towpath.test").exception("failed")
    line = json.loads(stream.getvalue())
    assert line["error_type"] == "ValueError"
    assert "test_logs.py" in line["exception"]
    assert "1204.37" not in stream.getvalue()
    assert "Odile" not in stream.getvalue()


def test_extra_values_of_other_libraries_are_dropped(stream: StringIO):
    logging.getLogger("towpath.test").warning("sent", extra={"recipient": "odile@example.test"})
    assert "odile" not in stream.getvalue()
