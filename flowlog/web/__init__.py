"""The pages and the interface for other programs: a process of its own that reads the store only.

`app.create_app` puts it together. Each feature is a module with a list `ROUTES`; `app.FEATURES`
names them. What a person changes is left in the daemon's letterbox, as other commands do.
"""
