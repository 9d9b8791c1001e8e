"""From firings to an ordered plan with progress."""
