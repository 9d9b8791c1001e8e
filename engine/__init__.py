"""Deciding, justifying and proving post-collision checks."""
