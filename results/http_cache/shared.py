"""What a cache that all readers share may keep of public answers (RFC 9111, RFC 5861)."""

SHARED = "public, max-age=0, s-maxage=1, stale-while-revalidate=1"
"""A shared cache asks again after a second and may answer with what it has for one more: a change
is seen within two. A reader's own cache asks each time, by the ETag."""
PRIVATE = "private, no-cache"
