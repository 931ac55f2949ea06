"""Django's entry point to the admin; its tables are with the moderators' desk."""

from results.review.desk import rounds, tables  # noqa: F401
