"""The desk's addresses."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.urls import include, path, register_converter
from django.views.i18n import set_language

from reports.addresses import EntryId
from reports.views.book import book
from reports.views.books import books
from reports.views.draws import draw, draws, hand_in, take_back
from reports.views.findings import act_on_finding, act_on_findings, finding, findings
from reports.views.firm import firm
from reports.views.households import household, issue_year, month, packet, propose
from reports.views.messages import (
    mail_details,
    messages,
    renew_webhook,
    retry_message,
    switch_off_webhook,
    webhooks,
)
from reports.views.notices import calendar_feed, make_calendar, my_notices, revoke_calendar
from reports.views.papers import paper, picture
from reports.views.plans import offers, plan, plan_version, save_offer, save_plan
from reports.views.runs import runs
from reports.views.trace import entry, restatements, trace_draw, trace_year

register_converter(EntryId, "entry")

urlpatterns = [
    path("", book, name="book"),
    path("households/<str:ref>/", household, name="household"),
    path("households/<str:ref>/months/<str:month>/", month, name="month"),
    path("households/<str:ref>/packets/<uuid:packet_id>/", packet, name="packet"),
    path(
        "households/<str:ref>/packets/<uuid:packet_id>/xlsx/",
        packet,
        {"form": "xlsx"},
        name="packet_xlsx",
    ),
    path(
        "households/<str:ref>/packets/<uuid:packet_id>/csv/",
        packet,
        {"form": "csv"},
        name="packet_csv",
    ),
    path("households/<str:ref>/annual/", issue_year, name="issue_year"),
    path("households/<str:ref>/draws/", draws, name="draws"),
    path("households/<str:ref>/draws/<entry:entry>/", draw, name="draw"),
    path("households/<str:ref>/draws/<entry:entry>/papers/", hand_in, name="hand_in"),
    path(
        "households/<str:ref>/draws/<entry:entry>/papers/<uuid:paper_id>/",
        take_back,
        name="take_back",
    ),
    path("households/<str:ref>/papers/<uuid:paper_id>/", paper, name="paper"),
    path("households/<str:ref>/papers/<uuid:paper_id>/picture/", picture, name="picture"),
    path("findings/", findings, name="findings"),
    path("findings/act/", act_on_findings, name="findings_act"),
    path("findings/<uuid:finding_id>/", finding, name="finding"),
    path("findings/<uuid:finding_id>/act/", act_on_finding, name="finding_act"),
    path("households/<str:ref>/trace/<int:year>/", trace_year, name="trace_year"),
    path(
        "households/<str:ref>/trace/<int:year>/draws/<entry:draw>/", trace_draw, name="trace_draw"
    ),
    path("households/<str:ref>/lines/<entry:entry>/", entry, name="entry"),
    path("households/<str:ref>/restatements/", restatements, name="restatements"),
    path("households/<str:ref>/books/<slug:form>/", books, name="books"),
    path("households/<str:ref>/plan/", plan, name="plan"),
    path("households/<str:ref>/plan/save/", save_plan, name="plan_save"),
    path("households/<str:ref>/plan/versions/<int:number>/", plan_version, name="plan_version"),
    path("households/<str:ref>/plan/offers/", offers, name="plan_offers"),
    path("households/<str:ref>/plan/offers/save/", save_offer, name="plan_offers_save"),
    path("households/<str:ref>/proposal/", propose, name="propose"),
    path("runs/", runs, name="runs"),
    path("me/notices/", my_notices, name="my_notices"),
    path("me/notices/calendar/", make_calendar, name="make_calendar"),
    path("me/notices/calendar/revoke/", revoke_calendar, name="revoke_calendar"),
    path("calendar/<str:token>.ics", calendar_feed, name="calendar_feed"),
    path("messages/", messages, name="messages"),
    path("messages/details/", mail_details, name="mail_details"),
    path("messages/<uuid:message_id>/retry/", retry_message, name="retry_message"),
    path("messages/webhooks/", webhooks, name="webhooks"),
    path("messages/webhooks/<uuid:endpoint_id>/renew/", renew_webhook, name="renew_webhook"),
    path("messages/webhooks/<uuid:endpoint_id>/off/", switch_off_webhook, name="webhook_off"),
    path("", include("reports.account_urls")),
    path("firm/", firm, name="firm"),
    path("language/", login_not_required(set_language), name="set_language"),
]
