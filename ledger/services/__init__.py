"""Writes of the ledger's side: one business act, one transaction."""
