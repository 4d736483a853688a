"""Tests of the sheets; a package, so that its conftest has a name of its own."""
