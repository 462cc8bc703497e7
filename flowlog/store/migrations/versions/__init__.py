"""One file a step. A released step is never changed."""
