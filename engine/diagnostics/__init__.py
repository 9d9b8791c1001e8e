"""Messages as data: code, places, next step."""
