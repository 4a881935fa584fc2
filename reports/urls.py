"""The desk's addresses."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.urls import include, path, register_converter
from django.views.i18n import set_language

from reports.addresses import EntryId
from reports.views.book import act_on_households, book, drop_view, keep_view
from reports.views.books import books
from reports.views.draws import draw, draws, hand_in, take_back
from reports.views.findings import act_on_finding, act_on_findings, finding, findings
from reports.views.firm import firm
from reports.views.households import household, issue_year, month, packet, propose
from reports.views.imports import book_template, import_book, import_statements
from reports.views.joining import join, join_link
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
from reports.views.people import invitation_act, people, person, person_act
from reports.views.plans import offers, plan, plan_version, save_offer, save_plan
from reports.views.renewals import renewals
from reports.views.runs import runs
from reports.views.setup import discard, edit_household, new_household, setup_step
from reports.views.shares import enter, seen, share_act, shared, shares
from reports.views.tokens import my_tokens, revoke_token
from reports.views.trace import entry, restatements, trace_draw, trace_year

register_converter(EntryId, "entry")

urlpatterns = [
    path("", book, name="book"),
    path("book/act/", act_on_households, name="book_act"),
    path("book/views/", keep_view, name="keep_view"),
    path("book/views/<uuid:view_id>/remove/", drop_view, name="drop_view"),
    path("households/new/", new_household, name="new_household"),
    path("households/new/<uuid:draft_id>/discard/", discard, name="setup_discard"),
    path("households/new/<uuid:draft_id>/<slug:step>/", setup_step, name="setup_step"),
    path("households/<str:ref>/edit/", edit_household, name="edit_household"),
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
    path("households/<str:ref>/seen/", seen, name="seen"),
    path("households/<str:ref>/shares/", shares, name="shares"),
    path("households/<str:ref>/shares/<uuid:grant_id>/", share_act, name="share_act"),
    path("shared/", shared, name="shared"),
    path("shared/<uuid:firm_id>/<uuid:grant_id>/", enter, name="enter"),
    path("people/", people, name="people"),
    path("people/<uuid:member_id>/", person, name="person"),
    path("people/<uuid:member_id>/act/", person_act, name="person_act"),
    path("people/invitations/<uuid:invitation_id>/", invitation_act, name="invitation_act"),
    path("join/", join, name="join"),
    path("join/<uuid:firm_id>/<uuid:invitation_id>/<str:token>/", join_link, name="join_link"),
    path("renewals/", renewals, name="renewals"),
    path("import/book/", import_book, name="import_book"),
    path("import/book/template.csv", book_template, name="book_template"),
    path("import/statements/", import_statements, name="import_statements"),
    path("runs/", runs, name="runs"),
    path("me/notices/", my_notices, name="my_notices"),
    path("me/notices/calendar/", make_calendar, name="make_calendar"),
    path("me/notices/calendar/revoke/", revoke_calendar, name="revoke_calendar"),
    path("me/tokens/", my_tokens, name="my_tokens"),
    path("me/tokens/<uuid:token_id>/revoke/", revoke_token, name="revoke_token"),
    path("calendar/<str:token>.ics", calendar_feed, name="calendar_feed"),
    path("messages/", messages, name="messages"),
    path("messages/details/", mail_details, name="mail_details"),
    path("messages/<uuid:message_id>/retry/", retry_message, name="retry_message"),
    path("messages/webhooks/", webhooks, name="webhooks"),
    path("messages/webhooks/<uuid:endpoint_id>/renew/", renew_webhook, name="renew_webhook"),
    path("messages/webhooks/<uuid:endpoint_id>/off/", switch_off_webhook, name="webhook_off"),
    path("", include("reports.account_urls")),
    path("firm/", firm, name="firm"),
    path("api/v1/", include("reports.api.urls")),
    path("language/", login_not_required(set_language), name="set_language"),
]
