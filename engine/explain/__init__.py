"""Why a line is there, why one is not, and what to ask next."""
