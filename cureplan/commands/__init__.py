"""Commands of their own file, registered by `cureplan.cli`; light to import."""
