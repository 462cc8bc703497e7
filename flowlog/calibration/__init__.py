"""Calibration as computation: from what was measured by hand to values that know how sure they are.

Every step (`course`, `catch`, `meter`, `gauge`, `baseline`, `capped`) takes numbers in SI units and
gives a frozen result with `to_json` and `from_json`; `apply` puts results into a rig. Nothing here
asks, stores or waits.
"""
