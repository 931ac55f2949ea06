"""A club's round: several testers pull samples of the same joins, and the numbers tell who differs.

Methods are those of interlaboratory comparisons (ISO 5725-2, ISO 13528, ASTM E691); in their words
a participant is a laboratory.
"""
