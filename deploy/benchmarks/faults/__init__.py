"""Faults on a whole service: what is broken, what is sent meanwhile, and what must hold after."""
