"""One module a kind of fault. Each looks at a tick and keeps its own alerts in the book."""
