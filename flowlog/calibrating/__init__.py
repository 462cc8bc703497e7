"""The calibration as work: asking, reading the board, keeping what was answered, choosing.

`flowlog.calibration` computes; this package brings it what it needs and carries its results to
the store and back. `inuse` says which stored results a rig is watched with; `interview` and the
`ask_*` modules lead a person through the steps; `inputs` takes the same from options or a file.
"""
