"""Writes of reports: one business act, one transaction."""
