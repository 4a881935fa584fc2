"""Booking statement files: every file of a request, or none of them.

`running.import_statements` is the service; a preview is the same service
rolled back. `asking.import_for_firm` finds the firm for the command.
"""
