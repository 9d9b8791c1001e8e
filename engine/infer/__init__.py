"""From facts and rules to firings, in three passes, checked twice."""
