"""The open contract: result types, error tree, array containers, JSON Schemas."""
