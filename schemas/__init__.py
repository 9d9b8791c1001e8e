"""JSON Schemas of every file a person writes and every file knockon emits."""
