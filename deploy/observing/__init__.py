"""What tells an operator how the service does: logs, metrics, and whether it lives and is ready."""
