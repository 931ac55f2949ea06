"""HTTP caching: ETags by edition, and a per-process cache of anonymous responses."""
