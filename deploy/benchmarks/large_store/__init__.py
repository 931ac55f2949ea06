"""A large store made from the invented scenario, to measure speed on.

At scale 1: 10 000 testers of a thousand clubs, 20 000 sessions, 100 000 sets and about a million
pulls in some 800 pools. Everything is drawn by numpy and written by COPY; strengths and
efficiencies are worked out from the raw pulls by ``results.statistics``, pools by
``results.pools.recompute``. Each session has the bytes it came in, and all history is sealed. Left
out, as nothing measured reads it: check-weight readings, results of screening, and the strength of
the join apart.
"""
