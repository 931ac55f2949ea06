"""The job queue: rows, leases, wake-up messages and the sweeper. It knows nothing of pulls."""
