"""Exact solutions that only tests call: the yardsticks shipped models are held to."""
