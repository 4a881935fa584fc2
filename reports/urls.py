"""The desk's addresses."""

from __future__ import annotations

from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_not_required
from django.urls import path, register_converter
from django.views.i18n import set_language

from reports.addresses import EntryIdConverter
from reports.views.book import book
from reports.views.books import books
from reports.views.households import household, month, packet
from reports.views.runs import runs
from reports.views.trace import entry, restatements, trace_draw, trace_year

register_converter(EntryIdConverter, "entry")

urlpatterns = [
    path("", book, name="book"),
    path("households/<str:ref>/", household, name="household"),
    path("households/<str:ref>/months/<str:month>/", month, name="month"),
    path("households/<str:ref>/packets/<uuid:packet_id>/", packet, name="packet"),
    path("households/<str:ref>/trace/<int:year>/", trace_year, name="trace_year"),
    path(
        "households/<str:ref>/trace/<int:year>/draws/<entry:draw>/", trace_draw, name="trace_draw"
    ),
    path("households/<str:ref>/lines/<entry:entry>/", entry, name="entry"),
    path("households/<str:ref>/restatements/", restatements, name="restatements"),
    path("households/<str:ref>/books/<slug:form>/", books, name="books"),
    path("runs/", runs, name="runs"),
    path("login/", auth.LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", auth.LogoutView.as_view(), name="logout"),
    path("language/", login_not_required(set_language), name="set_language"),
]
