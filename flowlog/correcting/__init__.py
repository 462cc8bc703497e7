"""Correcting a route afterwards: what a person says, checked, and handed to the sole writer."""
