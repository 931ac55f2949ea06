"""The queue alone: rows, leases, waking and sweeping. It knows nothing of pulls."""
