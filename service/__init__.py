"""The HTTP service: REST API, database, object store, queue, webhooks."""
