"""The REST API, a module a resource."""
