"""Pools of every kind, drawn to break: what `deploy/bench pools` and the tests put through."""
