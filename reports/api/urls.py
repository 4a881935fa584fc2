"""The interface's addresses."""

from __future__ import annotations

from django.urls import path, re_path

from ledger.api.closes import Closes, HouseholdCloses, Months, Runs
from ledger.api.findings import Finding, FindingActs, Findings
from ledger.api.households import HouseholdFile, Households
from ledger.api.statements import Statements
from ledger.api.uses import Draw, Draws, PaperFile, Papers, Uses
from planning.api.resource import Nothing
from planning.api.tax import Me, Tax
from reports.api.described import docs, openapi
from reports.api.packets import Month, OnePacket, PacketFile, Packets
from reports.api.plans import PlanVersion, PlanVersions, WhatIf

HOUSEHOLD = "households/<str:ref>/"

urlpatterns = [
    path("openapi.json", openapi, name="api_description"),
    path("docs/", docs, name="api_docs"),
    path("me/", Me.as_view(), name="api_me"),
    path("tax/", Tax.as_view(), name="api_tax"),
    path("households/", Households.as_view(), name="api_households"),
    path(HOUSEHOLD, HouseholdFile.as_view(), name="api_household"),
    path(f"{HOUSEHOLD}statements/", Statements.as_view(), name="api_statements"),
    path(f"{HOUSEHOLD}draws/", Draws.as_view(), name="api_draws"),
    path(f"{HOUSEHOLD}draws/<entry:entry>/", Draw.as_view(), name="api_draw"),
    path(f"{HOUSEHOLD}draws/<entry:entry>/uses/", Uses.as_view(), name="api_uses"),
    path(f"{HOUSEHOLD}papers/", Papers.as_view(), name="api_papers"),
    path(f"{HOUSEHOLD}papers/<uuid:paper_id>/file/", PaperFile.as_view(), name="api_paper_file"),
    path(f"{HOUSEHOLD}closes/", HouseholdCloses.as_view(), name="api_household_closes"),
    path(f"{HOUSEHOLD}months/", Months.as_view(), name="api_months"),
    path(f"{HOUSEHOLD}months/<str:month>/", Month.as_view(), name="api_month"),
    path(f"{HOUSEHOLD}packets/", Packets.as_view(), name="api_packets"),
    path(f"{HOUSEHOLD}packets/<uuid:packet_id>/", OnePacket.as_view(), name="api_packet"),
    path(
        f"{HOUSEHOLD}packets/<uuid:packet_id>/file/", PacketFile.as_view(), name="api_packet_file"
    ),
    path(f"{HOUSEHOLD}plan/versions/", PlanVersions.as_view(), name="api_plan_versions"),
    path(f"{HOUSEHOLD}plan/versions/<int:number>/", PlanVersion.as_view(), name="api_plan_version"),
    path(f"{HOUSEHOLD}plan/what-if/", WhatIf.as_view(), name="api_what_if"),
    path("closes/", Closes.as_view(), name="api_closes"),
    path("runs/", Runs.as_view(), name="api_runs"),
    path("findings/", Findings.as_view(), name="api_findings"),
    path("findings/<uuid:finding_id>/", Finding.as_view(), name="api_finding"),
    path("findings/<uuid:finding_id>/acts/", FindingActs.as_view(), name="api_finding_acts"),
    re_path(r"^.*$", Nothing.as_view(), name="api_nothing"),
]
