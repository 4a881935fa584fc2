"""The desk's addresses."""

from __future__ import annotations

from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_not_required
from django.urls import path
from django.views.i18n import set_language

from reports.views.book import book
from reports.views.households import household, month, packet, propose
from reports.views.runs import runs

urlpatterns = [
    path("", book, name="book"),
    path("households/<str:ref>/", household, name="household"),
    path("households/<str:ref>/months/<str:month>/", month, name="month"),
    path("households/<str:ref>/packets/<uuid:packet_id>/", packet, name="packet"),
    path("households/<str:ref>/proposal/", propose, name="propose"),
    path("runs/", runs, name="runs"),
    path("login/", auth.LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", auth.LogoutView.as_view(), name="logout"),
    path("language/", login_not_required(set_language), name="set_language"),
]
