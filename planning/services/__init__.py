"""Writes of the plan's side: one business act each."""
