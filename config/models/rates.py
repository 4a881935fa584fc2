"""How often somebody tried, counted where every process sees it."""

from __future__ import annotations

from django.db import models


class RateCount(models.Model):
    """Tries under one key in the present window. Keys are keyed hashes: no address is kept."""

    key = models.CharField(max_length=64, primary_key=True)
    window_ends = models.DateTimeField()
    count = models.PositiveIntegerField()
