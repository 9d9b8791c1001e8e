"""Rule packs as package data."""
