"""The sheet in a real browser; a package, so that its conftest has a name of its own."""
