"""One SQLite file a rig: written by one daemon, read by everybody.

`recorder.Recorder` is the only writer; one call a second makes a `rows.Batch` durable, whole and
once. `archive.Archive` reads it back, also while the daemon writes, and gives a route's stream in
the exact order in which it came, so that it can be derived again. `errors` says what can go wrong.
"""
