"""The demonstration: a simulated route through the real daemon, in processes of their own."""
