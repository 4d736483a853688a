"""Tests of the plots; a package, so that its conftest has a name of its own."""
