"""Where Django looks for the admin's tables: they stand beside the rest of the moderators' desk."""

from results.review.desk import tables  # noqa: F401
