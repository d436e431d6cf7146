"""The one door out: what a release tells, so that nobody can count few children from it.

`frozen` holds the counts, `telling` and `by_group` decide which figures are told, `choice`
solves what to withhold where not all can be told. `anonymity` is of extracts, which leave
under an agreement of their own. Nothing outside this room asks whether a count is small.
"""
