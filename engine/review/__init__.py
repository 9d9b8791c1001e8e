"""The bench of whoever maintains packs."""
