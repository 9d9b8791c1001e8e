"""What the rooms share: frozen types, no behaviour beyond their own meaning."""
