"""What runs a job, in Celery or embedded in the web process."""
