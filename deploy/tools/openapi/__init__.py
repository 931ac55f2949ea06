"""The OpenAPI document between releases: changes that would break a client of v1."""
