"""Benchmarks: ours beside its rivals in one process. Not tests; pytest does not collect them."""
