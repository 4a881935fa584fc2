"""Reads of the plan's side, access first."""
