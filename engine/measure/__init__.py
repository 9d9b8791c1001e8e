"""From what an instrument showed to a verdict against a stated limit, with the next step."""
