"""The OpenAPI document between releases: what of it would break a client of v1."""
