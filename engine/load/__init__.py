"""From files to checked cases and linked packs."""
