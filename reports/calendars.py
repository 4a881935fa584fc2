"""A calendar (RFC 5545) of dated entries, in English or French."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from django.utils import translation
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event, vText

from config import formatting
from reports.selectors.dates import Dated

CONTENT_TYPE = "text/calendar; charset=utf-8"


def calendar_bytes(dates: tuple[Dated, ...], *, today: date, language: str, names: bool) -> bytes:
    """The calendar's bytes: CRLF, lines folded at 75 octets, the same all day for the same dates.

    A household is its reference, and its name too only with `names`.
    """
    with translation.override(language):
        calendar = Calendar()
        calendar.add("prodid", f"-//Towpath//Calendar//{language.upper()}")
        calendar.add("version", "2.0")
        calendar.add("calscale", "GREGORIAN")
        calendar.add("method", "PUBLISH")
        calendar["x-wr-calname"] = vText(_("Towpath: dates of the book"))
        calendar["refresh-interval"] = vText("PT6H")
        calendar["refresh-interval"].params["VALUE"] = "DURATION"
        stamp = datetime.combine(today, time(), UTC)
        for one in dates:
            calendar.add_component(_event(one, stamp, language, names=names))
    return calendar.to_ical()


def _event(one: Dated, stamp: datetime, language: str, *, names: bool) -> Event:
    event = Event()
    title = _title(one, language)
    who = f"{one.ref} {one.name}" if names and one.name else one.ref
    event.add("uid", one.uid)
    event.add("dtstamp", stamp)
    event.add("dtstart", one.day)
    event.add("dtend", one.day + timedelta(days=1))
    event.add("summary", f"{who}: {title}" if who else title)
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    event.add("url", one.link)
    for days in one.alarms:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", f"{who}: {title}" if who else title)
        alarm.add("trigger", timedelta(days=-days))
        event.add_component(alarm)
    return event


def _title(one: Dated, language: str) -> str:
    if one.kind == "renewal":
        return _("mortgage renewal (%(account)s)") % {"account": one.account}
    if one.kind == "reborrow":
        return _("re-borrow and invest (%(account)s)") % {"account": one.account}
    if one.kind == "statements":
        month = formatting.long_month(one.period, language)
        return _("last day for the statements of %(month)s") % {"month": month}
    year, number = one.period.split("-Q")
    quarter = formatting.quarter(int(year), int(number), language)
    return _("end of %(quarter)s: packets") % {"quarter": quarter}
