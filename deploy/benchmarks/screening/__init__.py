"""The panel of `deploy/bench screening`: people, oddities and frauds that screening has not seen.

Worlds are drawn by rules of the panel's own (`worlds`), neither the demo league's nor those that
the checks assume, so that a check is not measured by what it was built on. A kind says what
somebody does in such a world; `panel` lists them all.
"""
