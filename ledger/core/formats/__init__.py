"""Statement files in and out: OFX 1.x, OFX 2.x and CSV, as frozen values.

`reading.read_statements` takes bytes and gives `ParsedStatement` values or
raises `BadInput`; `render` writes the same values back. Nothing here knows the
database, the clock or the household: those come in as `ReadOptions`.
"""
