"""What an operator monitors: logs, metrics, liveness, readiness and the status page."""
