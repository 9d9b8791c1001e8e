"""The only room that makes text."""
