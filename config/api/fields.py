"""Fields and serializers of the interface: money as text, nothing unknown."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

MONEY = r"^-?[0-9]{1,13}\.[0-9]{2}$"


@extend_schema_field({"type": "string", "pattern": MONEY, "examples": ["1250.00"]})
class Money(serializers.Field):
    """Dollars and cents as text with two decimals; whole cents inside."""

    default_error_messages = {
        "money": 'this is no amount: write dollars and two decimals as text, such as "1250.00"',
    }

    def to_internal_value(self, data: Any) -> int:
        """Cents of a text."""
        if not isinstance(data, str) or not re.fullmatch(MONEY[1:-1], data, re.ASCII):
            self.fail("money")
        return int(data.replace(".", ""))

    def to_representation(self, value: int) -> str:
        """The text of cents."""
        sign = "-" if value < 0 else ""
        return f"{sign}{abs(value) // 100}.{abs(value) % 100:02d}"


@extend_schema_field(
    {"type": "string", "contentEncoding": "base64", "contentMediaType": "application/octet-stream"}
)
class Bytes(serializers.Field):
    """The bytes of a file, as base64 text."""

    default_error_messages = {"base64": "this is not base64"}

    def to_internal_value(self, data: Any) -> bytes:
        """The bytes of a text."""
        try:
            return base64.b64decode(data if isinstance(data, str) else "?", validate=True)
        except (binascii.Error, ValueError):
            self.fail("base64")
            raise  # not reached: fail always raises

    def to_representation(self, value: bytes) -> str:
        """The text of bytes."""
        return base64.b64encode(value).decode("ascii")


class Month(serializers.RegexField):
    """A month as year and month."""

    def __init__(self, **options: Any) -> None:
        super().__init__(r"^[0-9]{4}-(0[1-9]|1[0-2])$", **options)

    def to_internal_value(self, data: Any) -> str:
        """Text alone: a number is no month."""
        if not isinstance(data, str):
            self.fail("invalid")
        return str(super().to_internal_value(data))


@extend_schema_field({"type": "string", "pattern": r"^[0-9]{4}-[0-9]{2}$"})
class MonthOf(serializers.Field):
    """The month of a day, to be read only."""

    def to_representation(self, value: date) -> str:
        """Year and month."""
        return f"{value:%Y-%m}"


class Text(serializers.CharField):
    """Text, and no number or truth value taken for text."""

    def to_internal_value(self, data: Any) -> str:
        """Text alone."""
        if not isinstance(data, str):
            self.fail("invalid")
        return str(super().to_internal_value(data))


class Whole(serializers.IntegerField):
    """A whole number, and no text or fraction taken for one."""

    def to_internal_value(self, data: Any) -> int:
        """A number alone; the text of a query is read by `Query`."""
        if isinstance(data, bool | float) or (
            isinstance(data, str) and not isinstance(self.root, Query)
        ):
            self.fail("invalid")
        return int(super().to_internal_value(data))


class Strict(serializers.Serializer):
    """An object in which every unknown name is refused."""

    def to_internal_value(self, data: Any) -> Any:
        """The checked values."""
        if isinstance(data, Mapping):
            unknown = sorted(str(one) for one in data.keys() - self.fields.keys())
            if unknown:
                raise serializers.ValidationError(
                    {name[:100]: ["there is no such field here"] for name in unknown}
                )
        return super().to_internal_value(data)


class Query(Strict):
    """The parameters of an address."""


class PageQuery(Query):
    """The parameters every list takes."""

    cursor = Text(required=False, max_length=600, help_text="where the page before ended")
    limit = Whole(required=False, default=50, min_value=1, max_value=200, help_text="rows a page")
