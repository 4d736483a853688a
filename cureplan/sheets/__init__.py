"""Sheets for the people on site: files, and text for the terminal. Renders, never computes."""
