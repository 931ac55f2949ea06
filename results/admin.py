"""Django's entry point to the admin; its tables are with the moderators' desk."""

from results.review.desk import accounts, rounds, tables  # noqa: F401
