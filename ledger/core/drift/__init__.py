"""Drift: what a household's month shows that the plan did not intend.

`rules.RULES` lists the rules in order; each is a function from a `DriftContext`
to findings. `lives` folds the findings of consecutive closes into runs.
"""
